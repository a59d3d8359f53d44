"""`cuffloop readings`: what is read from a rig's clamp."""
from __future__ import annotations

from dataclasses import dataclass

from experiments.commands.jobs.common import Options, deliver, record_from, rig_from
from experiments.front.readings.readings import ReadingOptions, readings
from experiments.readings.chain.by_cuff import cuff_reading


@dataclass(frozen=True, kw_only=True)
class ReadingsOptions(Options):
    """What `cuffloop readings` takes."""

    rig: str = "wrist"
    record: str | None = None
    columns: str | None = None
    seconds: float | None = None
    start: float = 0.0
    seed: int = 1
    offset: float = 0.0
    estimator: str = ReadingOptions.estimator
    age: float | None = None
    sex: str | None = None
    height: float | None = None
    weight: float | None = None
    reference: float | None = None
    ventilated: bool = False
    tidal: float | None = None
    venous: float = 5.0
    arm: str = ReadingOptions.arm
    cuff: list[str] | None = None


def readings_job(options: ReadingsOptions) -> int:
    """`cuffloop readings`: always 0; a clamp that does not hold is refused."""
    rig = rig_from(options.rig, options)
    record = record_from(options.record, options.columns, options.seconds, options.start)
    told = ReadingOptions(options.age, options.sex, options.height, options.weight, options.estimator,
                          options.reference, options.ventilated, options.tidal, options.venous, options.arm,
                          tuple(cuff_reading(text) for text in options.cuff or ()))
    return deliver(options, "running the coupled loop", lambda: readings(
        rig, record, seconds=options.seconds, start_s=options.start, seed=options.seed, offset_mmHg=options.offset,
        options=told))
