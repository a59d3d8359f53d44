"""Every failure × (all protection, and each protection taken away) × fingers × onsets, in worker processes.

The unit of work, a piece, is one finger at one onset. A protection that never acted in the run with all of them
changes no bit when it is taken away, so only those that did act are run without. Pieces are pure functions of their
number: the same bits whatever the number of workers, and a study that was stopped goes on from the pieces on disk.
"""
from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from controller.protection.guards import PROTECTIONS, without
from experiments.firmware.foreign.watch import Given
from experiments.rigs.rig import load_rig, parameters_of
from experiments.safety.faults.catalogue import excluded_faults, find_faults
from experiments.safety.faults.fault import PHYSIOLOGY, Fault
from experiments.safety.faults.findings import BREAKS
from experiments.safety.faults.stories import RIGHTLY, Story, story_faults, tell
from experiments.safety.faults.trial import Bench, Outcome, Served, Times, make_bench
from experiments.safety.faults.verdict import FaultLimits, broken
from experiments.simulation.outcome import FIGURES, LAYERS, Limits
from experiments.subjects.finger import Finger
from experiments.subjects.population import sample_fingers
from experiments.work.chunks import fingerprint
from experiments.work.packed import storable
from experiments.work.run import Engine, Unit, run
from plant.errors import InputError

Samples = NDArray[np.float64]
KEYS = ("finger", "phase", "fault", "second", "lost", "copied", "diverged", "lasted_s")  # of a row, before figures
NONE_LOST = -1.0
WIDTH = len(KEYS) + len(FIGURES) + len(LAYERS)
MOST_FINGERS, MOST_PHASES = 20_000, 100

class Plan(NamedTuple):
    """Everything that a piece of a study follows from."""

    rig: str
    settings: tuple[str, ...]
    faults: tuple[str, ...]  # name:severity
    fingers: int
    phases: int
    group: str
    seed: int
    pairs: bool
    protections: tuple[str, ...]  # each taken away in turn
    after_s: float
    limits: FaultLimits
    story: Story | None = None  # scenarios as well
    firmware: Given | None = None  # somebody's, instead of the rig's own law


class Study(NamedTuple):
    """Result: one row a run (KEYS, FIGURES, first action of each layer), and which limits it breaks."""

    plan: Plan
    faults: tuple[Fault, ...]
    rows: Samples  # (runs, WIDTH)
    breaks: NDArray[np.bool_]  # (runs, BREAKS)
    names: tuple[str, ...]  # of the fingers
    lost_clamp: tuple[str, ...]  # fingers on which a protection acted before any failure, or that the rig cannot clamp
    excluded: dict[str, str]  # failures that this rig cannot have, and why
    findings: tuple[str, ...] = ()  # what was wrong with somebody's firmware, run by run

    def column(self, name: str) -> Samples:
        """One column of the rows, by its name in KEYS or FIGURES, or a layer's."""
        return np.asarray(self.rows[:, (*KEYS, *FIGURES, *LAYERS).index(name)])


def is_person(fault: Fault) -> bool:
    """Whether an alarm would be a false one."""
    return fault.kind == PHYSIOLOGY and fault.name.removeprefix("scenario_") not in RIGHTLY


def fault_text(fault: Fault) -> str:
    """A failure as `find_faults` reads it."""
    return f"{fault.name}:{fault.severity:g}"


@storable
class Told(NamedTuple):
    """What came of a piece: its rows, why there are none, and what was wrong with somebody's firmware."""

    rows: Samples
    why: str
    findings: list[str]


class Piece(NamedTuple):
    """One finger at one onset, and the finger whose set point "wrong finger" uses."""

    number: int  # of the finger
    phase: int  # of the onset
    finger: Finger
    other_finger: Finger


def prepare(plan: Plan) -> tuple[list[Fault], list[Piece]]:
    """Failures and pieces of a study. Raises InputError for what cannot be studied."""
    if not 1 <= plan.fingers <= MOST_FINGERS:
        raise InputError(f"--fingers {plan.fingers} must be from 1 to {MOST_FINGERS}")
    if not 1 <= plan.phases <= MOST_PHASES:
        raise InputError(f"--phases {plan.phases} must be from 1 to {MOST_PHASES}")
    rig = load_rig(plan.rig, list(plan.settings))
    faults = find_faults(",".join(plan.faults), rig, plan.firmware is None)
    for name in plan.protections:
        without(rig.guards, name)  # raises for a name that is none
    people = sample_fingers(plan.fingers + 1, plan.group, plan.seed)
    pairs = list(enumerate(pairwise(people)))
    return faults, [Piece(i, phase, *two) for i, two in pairs for phase in range(plan.phases)]


def run_piece(plan: Plan, piece: Piece) -> Told:
    """All runs of one finger at one onset, and why there are none when the rig does not hold it."""
    if plan.firmware is not None:
        from experiments.safety.faults.foreign.piece import foreign_piece  # it asks this module back

        return foreign_piece(plan, piece)
    rig, finger = load_rig(plan.rig, list(plan.settings)), piece.finger
    bench = bench_of(plan, piece)
    if isinstance(bench, str):
        return Told(np.zeros((0, WIDTH)), bench, [])
    faults = find_faults(",".join(plan.faults), rig)
    rows = list(failure_rows(bench, faults, plan, piece))
    if plan.story is not None:
        for i, story in enumerate(story_faults(plan.story), len(faults)):
            name = story.name.removeprefix("scenario_")
            outcome, lasted = tell(rig, finger, name, plan.story, bench.seed, limits_of(plan))
            rows.append(as_row((piece.number, piece.phase, i, -1), NONE_LOST, outcome, lasted=lasted))
    rows += pair_rows(bench, faults, plan, piece)
    return Told(np.array(rows), "", [])


def limits_of(plan: Plan) -> Limits:
    """What every run is held against."""
    return Limits(plan.limits.normal_mmHg, plan.limits.fault_mmHg, plan.limits.wrong_mmHg)


def bench_of(plan: Plan, piece: Piece, served: Served | None = None) -> Bench | str:
    """The bench of a piece, or why there is none."""
    rig, who = load_rig(plan.rig, list(plan.settings)), (piece.finger, piece.other_finger, piece.phase)
    try:
        bench = make_bench(rig, *who, Times(after_s=plan.after_s), limits_of(plan), plan.seed, served)
    except InputError as error:
        return str(error)
    return f"{', '.join(bench.trouble)} before any failure" if bench.trouble else bench


class Runs(Protocol):
    """What failures are run on: a `Bench`, or what runs one elsewhere."""

    def run(self, *faults: Fault, lost: tuple[str, ...] = ()) -> tuple[Outcome, Samples]:
        """Outcome of failures with protections taken away."""


def failure_rows(bench: Runs, faults: list[Fault], plan: Plan, piece: Piece) -> Iterator[Samples]:
    """The runs of every failure alone."""
    for i, fault in enumerate(faults):
        yield from fault_rows(bench, fault, plan, (piece.number, piece.phase, i, -1))


def pair_rows(bench: Runs, faults: list[Fault], plan: Plan, piece: Piece) -> Iterator[Samples]:
    """The runs of every two failures together, where they are asked for."""
    for i, one in enumerate(faults if plan.pairs else ()):
        for j in range(i + 1, len(faults)):
            if PHYSIOLOGY not in (one.kind, faults[j].kind):
                outcome, _ = bench.run(one, faults[j])
                yield as_row((piece.number, piece.phase, i, j), NONE_LOST, outcome)


def fault_rows(
    bench: Runs, fault: Fault, plan: Plan, key: tuple[int, int, int, int]
) -> Iterator[Samples]:
    """The run of one failure with all protection, then without each of them."""
    whole, _ = bench.run(fault)
    yield as_row(key, NONE_LOST, whole)
    if fault.kind == PHYSIOLOGY:
        return
    for name in plan.protections:
        acted = whole.acted[name] >= 0.0
        outcome = bench.run(fault, lost=(name,))[0] if acted else whole
        yield as_row(key, float(PROTECTIONS.index(name)), outcome, copied=not acted)


def as_row(
    key: tuple[int, int, int, int], lost: float, outcome: Outcome, copied: bool = False, lasted: float = -1.0
) -> Samples:
    """One run as numbers; how long it lasted [s] is told of scenarios, −1 of others."""
    return np.array([*key, lost, float(copied), float(outcome.diverged), lasted, *(outcome.figures[f] for f in FIGURES),
                     *(outcome.acted[name] for name in LAYERS)])


def about(plan: Plan) -> dict[str, str]:
    """What tells one study from another, in words; the rig by its parameters, for a rig file may have changed."""
    rig = load_rig(plan.rig, list(plan.settings))
    whose = {} if plan.firmware is None else {"firmware": plan.firmware.path, "its sum": plan.firmware.digest}
    return {**whose, "rig": plan.rig, "the rig's parameters": fingerprint(parameters_of(rig)),
            "seed": str(plan.seed), "fingers": str(plan.fingers)}


def run_study(
    plan: Plan, folder: Path | None = None, engine: Engine | None = None,
    progress: Callable[[float], None] | None = None,
) -> Study:
    """Run a study. With a folder each finished piece is kept there and not run again.

    Raises InputError, also when the rig holds no finger, so that nothing ran. When interrupted, what is finished stays
    on disk.
    """
    faults, pieces = prepare(plan)
    found = run(pieces, partial(run_piece, plan), folder, about(plan), engine, 1, progress,
                Unit("fingers and onsets"))
    rows = np.concatenate([one.rows.reshape(-1, WIDTH) for one in found])
    lost_clamp = [f"{piece.finger.name}: {one.why}" for piece, one in zip(pieces, found, strict=True) if one.why]
    if not len(rows):
        if folder is not None:
            shutil.rmtree(folder, ignore_errors=True)  # there is nothing in it to go on from
        more = f", and {len(lost_clamp) - 1} more" if len(lost_clamp) > 1 else ""
        who = f"rig {plan.rig}" if plan.firmware is None else f"--firmware {plan.firmware.path} on rig {plan.rig}"
        raise InputError(f"nothing ran: {who} holds no finger ({lost_clamp[0]}{more})")
    faults = [*faults, *(story_faults(plan.story) if plan.story is not None else [])]
    study = Study(plan, tuple(faults), rows, np.zeros((len(rows), len(BREAKS)), bool),
                  tuple(piece.finger.name for piece in pieces if piece.phase == 0), tuple(lost_clamp),
                  excluded_faults(load_rig(plan.rig, list(plan.settings)), plan.firmware is None),
                  tuple(text for one in found for text in one.findings))
    figures = {name: study.column(name) for name in FIGURES}
    number = study.column("fault").astype(int)
    person, to_empty = (np.array([mark(faults[i]) for i in number], bool) for mark in (is_person, lambda f: f.to_empty))
    return study._replace(breaks=broken(plan.limits, figures, person, plan.after_s, to_empty))
