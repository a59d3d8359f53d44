"""`cuffloop check`: margins, tracking and verdict of a rig on a pressure record, or of several side by side."""
from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from experiments.commands.jobs.common import Options, deliver, record_from, rig_from
from experiments.front.check import check
from experiments.front.compare import compare
from experiments.front.firmware.check import check_firmware
from plant.errors import InputError


@dataclass(frozen=True, kw_only=True)
class CheckOptions(Options):
    """What `cuffloop check` takes."""

    rigs: list[str]
    record: str | None = None
    columns: str | None = None
    firmware: Path | None = None
    requirements: Path | None = None
    seconds: float | None = None
    start: float = 0.0
    seed: int = 1


def check_job(options: CheckOptions) -> int:
    """`cuffloop check`: 0 when every limit is kept (by every rig), 1 when one is not."""
    rigs = [rig_from(name, options) for name in options.rigs]
    record = record_from(options.record, options.columns, options.seconds, options.start)
    if options.firmware is not None:
        if len(rigs) > 1:
            raise InputError(f"--firmware {options.firmware}: is judged on one rig at a time")
        own = options.firmware
        return deliver(options, "running the firmware", lambda: check_firmware(
            own, rigs[0], record, requirements=options.requirements, seconds=options.seconds, start_s=options.start,
            seed=options.seed))
    if len(rigs) == 1:
        return deliver(options, "running the coupled loop", lambda: check(
            rigs[0], record, requirements=options.requirements, seconds=options.seconds, start_s=options.start,
            seed=options.seed))
    return deliver(options, f"running {len(rigs)} rigs", lambda: compare(
        *rigs, record=record, requirements=options.requirements, seconds=options.seconds,
        start_s=options.start, seed=options.seed))
