"""A study of search strategies over many fingers: by any engine of work, to be interrupted and resumed.

With a folder, each finished finger is a file of its own in `FOLDER/parts`; the same command goes on from there, also
after the process was killed. More fingers may be asked for later: what is there is kept. Each finger is simulated by
itself, so the numbers do not depend on the number of workers.
"""
from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache, partial
from pathlib import Path
from typing import Any, NamedTuple

from calibrate.search.strategies import source_digest
from experiments.calibration.search.piece import Bench, Row, finger_rows, make_bench
from experiments.calibration.search.piece import Plan as Plan
from experiments.rigs.rig import load_rig, parameters_of
from experiments.subjects.finger import DEFECTS, Finger
from experiments.subjects.population import sample_fingers, spoil
from experiments.work.chunks import fingerprint
from experiments.work.run import Engine, Unit, run

PARTS = "parts"


def fingers_of(plan: Plan) -> list[Finger]:
    """The fingers of a study: the measurable ones, then each kind of spoiled ones. Raises InputError."""
    fingers = sample_fingers(max(plan.fingers, plan.spoiled), plan.group, plan.seed)
    return [
        *fingers[: plan.fingers],
        *(spoil(finger, defect) for defect in DEFECTS for finger in fingers[: plan.spoiled]),
    ]


class Study(NamedTuple):
    """What came out."""

    plan: Plan
    rows: list[Row]  # by finger, then by strategy


def run_study(
    plan: Plan, folder: Path | None = None, engine: Engine | None = None,
    progress: Callable[[float], None] | None = None,
) -> Study:
    """Every strategy on every finger. `progress` is called with the share done.

    Raises InputError for bad input or for a folder with parts of another study; KeyboardInterrupt, with a word on
    what is kept, when interrupted.
    """
    common = plan._replace(fingers=0, spoiled=0)
    _bench.cache_clear()  # files may have changed since
    _bench(common)  # complains here, once
    parts = folder / PARTS if folder else None
    found: list[list[Row]] = run(
        fingers_of(plan), partial(run_piece, common), parts, about(plan), engine, 1, progress, Unit("fingers"))
    return Study(plan, [row for rows in found for row in rows])


def about(plan: Plan) -> dict[str, Any]:
    """What tells one study from another, in words; rig and strategies by their content, for files may have changed."""
    rig = load_rig(plan.rig, list(plan.settings))
    return {
        "rig": plan.rig, "settings": list(plan.settings), "group": plan.group, "seed": plan.seed,
        "steps a tick": plan.substeps, "strategies": list(plan.strategies),
        "the rig's parameters": fingerprint(parameters_of(rig)),
        "own strategies": [source_digest(name) for name in plan.strategies],
    }


def run_piece(plan: Plan, finger: Finger) -> list[Row]:
    """Every strategy on one finger; the unit of work."""
    return finger_rows(_bench(plan), finger)


@lru_cache(maxsize=1)
def _bench(plan: Plan) -> Bench:
    """What all fingers share, made once a process."""
    return make_bench(plan)
