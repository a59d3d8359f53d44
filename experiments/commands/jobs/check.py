"""`cuffloop check`: margins, tracking and verdict of a rig on a pressure record, or of several side by side."""
from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from experiments.commands.jobs.common import Options, deliver, record_from, rig_from
from experiments.front.check import check
from experiments.front.compare import compare
from experiments.front.firmware.check import check_firmware
from experiments.front.inputs import SYNTHETIC_s
from experiments.front.population.check import check_fingers
from experiments.rigs.rig import Rig
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
    fingers: int | None = None
    group: str | None = None
    simulated: bool = False
    percentile: float | None = None
    seed: int = 1


def check_job(options: CheckOptions) -> int:
    """`cuffloop check`: 0 when every limit is kept (by every rig), 1 when one is not."""
    rigs = [rig_from(name, options) for name in options.rigs]
    if options.firmware is not None and (len(rigs) > 1 or options.fingers is not None):
        raise InputError(f"--firmware {options.firmware}: is judged on one rig and its own finger at a time")
    if options.fingers is not None:
        return on_fingers(options, rigs)
    for option, given in (("--group", options.group), ("--simulate", options.simulated or None),
                          ("--percentile", options.percentile)):
        if given is not None:
            raise InputError(f"{option}: say on how many fingers with --fingers")
    record = record_from(options.record, options.columns, options.seconds, options.start)
    if options.firmware is not None:
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


def on_fingers(options: CheckOptions, rigs: list[Rig]) -> int:
    """`cuffloop check --fingers`: 0 when enough fingers keep every limit, 1 when not. Raises InputError."""
    if len(rigs) > 1:
        raise InputError(f"--fingers {options.fingers}: judges one rig, and {len(rigs)} are named")
    for option, given in (("--record", options.record), ("--columns", options.columns), ("--start", options.start)):
        if given:
            raise InputError(f"{option}: every finger has its own pressure; leave the option out")
    assert options.fingers is not None
    count = options.fingers
    return deliver(options, f"{count} fingers", lambda: check_fingers(
        rigs[0], count, group=options.group or "mixed", simulated=options.simulated,
        requirements=options.requirements, seconds=SYNTHETIC_s if options.seconds is None else options.seconds,
        percentile=100.0 if options.percentile is None else options.percentile, seed=options.seed))
