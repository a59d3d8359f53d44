"""`cuffloop trend`: readings over hours."""
from __future__ import annotations

from dataclasses import dataclass

from experiments.commands.jobs.common import Options, deliver, rig_from
from experiments.front.readings.trend import USUAL_SCENARIOS, USUAL_SCHEDULES, TrendOptions, trend


@dataclass(frozen=True, kw_only=True)
class TrendJobOptions(Options):
    """What `cuffloop trend` takes."""

    rig: str = "wrist"
    record: str = "person:45f"
    chosen: str = USUAL_SCHEDULES
    scenarios: str = USUAL_SCENARIOS
    minutes: float = 60.0
    faults: str | None = None
    estimator: str = TrendOptions.estimator
    turn: float = 60.0
    day: float = 24.0
    seed: int = 1


def trend_job(options: TrendJobOptions) -> int:
    """`cuffloop trend`: always 0; it describes."""
    rig = rig_from(options.rig, options)
    rare = TrendOptions(options.estimator, options.turn, options.day)
    return deliver(options, "an hour for each scenario and schedule", lambda: trend(
        rig, options.record, schedules=options.chosen, scenarios=options.scenarios, minutes=options.minutes,
        faults=options.faults, seed=options.seed, options=rare))
