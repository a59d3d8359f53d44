"""What `cuffloop sweep` does: find the rig and the axes among its arguments, and sweep."""
from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from experiments.commands.jobs.common import StudyOptions, deliver, rig_from
from experiments.commands.jobs.search import check_alone
from experiments.front.firmware.sweep import sweep_firmware
from experiments.front.sweep import KEPT, SweepOptions, sweep
from plant.errors import InputError


@dataclass(frozen=True, kw_only=True)
class SweepJob(StudyOptions):
    """What `cuffloop sweep` takes."""

    words: list[str]  # a rig perhaps, then axes
    fingers: int | None = None
    group: str | None = None
    finger: str | None = None
    sample: int | None = None
    simulated: bool = False
    firmware: Path | None = None
    record: str | None = None
    seconds: float | None = None
    requirements: Path | None = None
    seed: int = 1


def sweep_job(options: SweepJob) -> int:
    """`cuffloop sweep`: 0 when a point keeps all limits, 1 when none does."""
    words = options.words
    name, axes = ("wrist", words) if words and "=" in words[0] else (words[0] if words else "wrist", words[1:])
    if "." in name and "/" not in name and not name.endswith(".toml") and not axes:
        raise InputError(f"{name}: an axis needs values, as in {name}=LOW:HIGH:COUNT or {name}=A,B,C")
    rig = rig_from(name, options, KEPT)
    if options.finger is not None and options.fingers is not None:
        raise InputError(f"--finger {options.finger}: names one finger; leave --fingers and --group out")
    more = SweepOptions(options.group, options.seconds, options.requirements, options.seed)
    if options.firmware is not None:
        own = options.firmware
        check_alone({"--fingers": options.fingers, "--workers": options.workers, "--cluster": options.cluster,
                     "--keep": options.keep or None}, "does not go with --firmware, which runs point by point here")
        return deliver(options, "points", lambda: sweep_firmware(
            own, rig, axes, finger=options.finger, record=options.record, sample=options.sample, options=more))
    fingers: int | str | None = options.finger if options.finger is not None else options.fingers
    return deliver(options, "points", lambda: sweep(
        rig, axes, fingers=fingers, record=options.record, simulated=options.simulated, sample=options.sample,
        options=more, work=options.work()), kept=KEPT)
