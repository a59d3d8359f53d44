"""The command `faults`: the catalogue, or a study of failures."""
from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from experiments.commands.jobs.common import StudyOptions, deliver, rig_from
from experiments.front.faults import FULL_FINGERS, KEPT, USUAL_FINGERS, FaultOptions, faults


@dataclass(frozen=True, kw_only=True)
class FaultsOptions(StudyOptions):
    """What `cuffloop faults` takes."""

    rig: str = "wrist"
    names: str | None = None
    listing: bool = False
    fingers: int | None = None
    phases: int = 1
    group: str = "mixed"
    pairs: bool = False
    full: bool = False
    without: str | None = None
    stories: float = 0.0
    seconds: float = 36.0
    requirements: Path | None = None
    firmware: Path | None = None
    seed: int = 1


def faults_job(options: FaultsOptions) -> int:
    """0 when no failure breaks a limit with all protection in place and no physiology trips one, 1 otherwise."""
    if options.listing:
        from experiments.safety.faults.text import catalogue_lines

        print("\n".join(catalogue_lines()))
        return 0
    rig = rig_from(options.rig, options, KEPT)
    count = options.fingers if options.fingers is not None else FULL_FINGERS if options.full else USUAL_FINGERS
    more = FaultOptions(options.phases, options.pairs, options.stories, options.seconds, options.requirements,
                        options.firmware)
    return deliver(options, "failures", lambda: faults(
        rig, options.names or "", fingers=count, group=options.group, without=options.without, seed=options.seed,
        options=more, work=options.work()), kept=KEPT)
