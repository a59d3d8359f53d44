"""What `cuffloop schedules` does: calibration schedules compared, by pictures and data too."""
from __future__ import annotations

from dataclasses import dataclass

from experiments.commands.jobs.common import StudyOptions, deliver, rig_from
from experiments.front.schedules import (
    FULL_FINGERS,
    FULL_MINUTES,
    FULL_SCENARIOS,
    KEPT,
    USUAL_FINGERS,
    USUAL_MINUTES,
    USUAL_SCENARIOS,
    schedules,
)
from plant.errors import InputError


@dataclass(frozen=True, kw_only=True)
class SchedulesOptions(StudyOptions):
    """What `cuffloop schedules` takes."""

    rig: str = "wrist"
    chosen: str = "all"
    scenarios: str | None = None
    fingers: int | None = None
    minutes: float | None = None
    group: str = "mixed"
    seed: int = 1
    full: bool = False


def schedules_job(options: SchedulesOptions) -> int:
    """`cuffloop schedules`: 0 when the comparison is done, whatever it says."""
    full = options.full
    if full and options.out is None:
        raise InputError("--full takes the better part of an hour: give it an --out DIR, where it can be resumed")
    fingers = options.fingers if options.fingers is not None else FULL_FINGERS if full else USUAL_FINGERS
    minutes = options.minutes if options.minutes is not None else FULL_MINUTES if full else USUAL_MINUTES
    scenarios = options.scenarios or (FULL_SCENARIOS if full else USUAL_SCENARIOS)
    rig = rig_from(options.rig, options, KEPT)
    return deliver(options, "comparing schedules", lambda: schedules(
        rig, options.chosen, scenarios=scenarios, fingers=fingers, minutes=minutes, group=options.group,
        seed=options.seed, work=options.work()), kept=KEPT)
