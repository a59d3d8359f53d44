"""Schedules × scenarios on one virtual person, a day on two fingers, and failures if asked for."""
from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from calibrate.schedule.names import NamedSchedule
from experiments.rigs.rig import Rig
from experiments.safety.faults.fault import Fault
from experiments.trend.failures import Harm, harms
from experiments.trend.hour import Wanted, run_hour, tell
from experiments.trend.turns import Day, Turns, day_of
from experiments.trend.windows import Worth, worth_of
from plant.circulation.person_name import Named

FAILURES_SHARE = 0.4  # of the work, as progress tells it


class Plan(NamedTuple):
    """What is asked for."""

    rig: Rig
    name: str  # of the person
    who: Named
    scenarios: tuple[str, ...]
    schedules: tuple[NamedSchedule, ...]
    seconds: float
    seed: int
    estimator: str
    turns: Turns
    faults: tuple[Fault, ...]  # none: failures are left out


class Study(NamedTuple):
    """The answer."""

    plan: Plan
    rows: list[Worth]
    day: Day
    harms: list[Harm]


def run_study(plan: Plan, progress: Callable[[float], None] | None = None) -> Study:
    """One scenario after the other, each under every schedule. Raises InputError."""
    tell_share = progress if progress is not None else lambda share: None
    most = (1.0 - FAILURES_SHARE) if plan.faults else 1.0
    rows: list[Worth] = []
    count = len(plan.scenarios) * len(plan.schedules)
    for scenario in plan.scenarios:
        wanted = Wanted(plan.rig, plan.who, scenario, plan.seconds, plan.seed, plan.estimator)
        told = tell(wanted)
        for schedule in plan.schedules:
            rows.append(worth_of(scenario, told, run_hour(wanted, told, schedule)))
            tell_share(most * len(rows) / count)
    found = harms(plan.rig, plan.faults, plan.seed, lambda share: tell_share(most + FAILURES_SHARE * share)
                  ) if plan.faults else []
    return Study(plan, rows, day_of(plan.turns, seed=plan.seed), found)
