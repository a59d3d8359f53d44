"""What `cuffloop search` does: one finger with its picture, or a study of strategies over many fingers."""
from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from calibrate.search.strategies import ALL, USUAL
from experiments.calibration.search.study import PARTS
from experiments.commands.jobs.common import StudyOptions, deliver, rig_from
from experiments.front.search import USUAL_GROUP, USUAL_SEED, search, searches
from plant.errors import InputError


@dataclass(frozen=True, kw_only=True)
class SearchOptions(StudyOptions):
    """What `cuffloop search` takes."""

    rig: str = "wrist"
    finger: str | None = None
    group: str | None = None
    strategy: str | None = None
    record: str | None = None
    firmware: Path | None = None
    fingers: int | None = None  # a study
    spoiled: int = 0
    substeps: int | None = None
    seed: int | None = None


def search_job(options: SearchOptions) -> int:
    """`cuffloop search`: 0 when a set point was found, or a study is done; 1 when the one search failed."""
    if options.fingers is None:
        given = {"--spoiled": options.spoiled or None, "--workers": options.workers, "--cluster": options.cluster}
        check_alone(given, "belongs to a study: add --fingers N")
        return _one(options)
    check_alone({"--finger": options.finger, "--record": options.record, "--firmware": options.firmware},
                "is for one finger, and --fingers for a study: give one")
    return _study(options, options.fingers)


def _one(options: SearchOptions) -> int:
    rig = rig_from(options.rig, options)
    return deliver(options, "searching", lambda: search(
        rig, options.finger, strategy=options.strategy or USUAL, record=options.record, group=options.group,
        seed=options.seed, substeps=options.substeps, firmware=options.firmware))


def _study(options: SearchOptions, fingers: int) -> int:
    rig = rig_from(options.rig, options, PARTS)
    return deliver(options, "searches on each finger", lambda: searches(
        rig, fingers, strategies=options.strategy or ALL, spoiled=options.spoiled, group=options.group or USUAL_GROUP,
        seed=USUAL_SEED if options.seed is None else options.seed, substeps=options.substeps, work=options.work()),
        kept=PARTS)


def check_alone(options: Mapping[str, object], why: str) -> None:
    """Raise InputError for the first option that was given though it has no meaning here."""
    for name, value in options.items():
        if value is not None:
            raise InputError(f"{name} {why}")
