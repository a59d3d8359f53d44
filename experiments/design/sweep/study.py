"""A sweep: a rig's figures at every point of some axes, on its own finger, a record or a population of fingers.

Points that differ in controller values only share a plant and are surveyed together, a few hundred a piece.
"""
from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.design.sweep.axes import Axis
from experiments.design.sweep.piece import Answer, Case, Figure, Piece, run_pieces
from experiments.subjects.finger import Finger
from experiments.work.run import Engine, run
from plant.errors import InputError

Reals = NDArray[np.float64]

ROWS = 400  # controllers surveyed together: some tenths of a second
RUNS = 32  # simulated together, unless they are long: two full vectors, half a second
LEAST_RUNS = 8
TICKS = 4_000_000  # of all runs together: about two seconds and 150 MB
MOST_RESULTS = 4_000_000  # points times fingers


class Plan(NamedTuple):
    """Everything that a sweep follows from."""

    case: Case
    axes: tuple[Axis, ...]
    points: tuple[tuple[Any, ...], ...]
    fingers: tuple[Finger, ...] = ()  # empty: the rig's own
    sampled: bool = False  # points are a sample, not a grid


class Study(NamedTuple):
    """What came out. Figures have one entry a point, finger and figure of `case.figures`."""

    plan: Plan
    fingers: tuple[Finger, ...]  # of the plan, less those left out
    figures: Reals  # (points, fingers or 1, figures); NaN where there is none
    present: Reals | None  # (fingers or 1, figures) of the rig as it is; None when the axes have no such point
    reasons: dict[str, int]  # why points could not be had, and how many of them
    left_out: tuple[str, ...]  # fingers that could not be had at any point

    @property
    def case(self) -> Case:
        """What all points have in common."""
        return self.plan.case

    @property
    def axes(self) -> tuple[Axis, ...]:
        """The parameters that were changed."""
        return self.plan.axes

    @property
    def points(self) -> tuple[tuple[Any, ...], ...]:
        """A value of each axis, point by point."""
        return self.plan.points

    @property
    def sampled(self) -> bool:
        """Whether the points are a sample, not a grid."""
        return self.plan.sampled

    @property
    def names(self) -> list[str]:
        """The figures, in order."""
        return list(self.case.figures)

    def worst(self, name: str) -> Reals:
        """The worst of one figure over all fingers, at each point; NaN when a finger has none."""
        return worst_of(self.case.figures[name], self.figures[:, :, self.names.index(name)])

    def present_worst(self, name: str) -> float:
        """The same for the rig as it is; NaN when the axes have no such point."""
        if self.present is None:
            return math.nan
        return float(worst_of(self.case.figures[name], self.present[None, :, self.names.index(name)])[0])

    def worst_finger(self) -> NDArray[np.int64]:
        """Which finger is worst at each point: one that cannot be had, else the smallest signed modulus margin."""
        column = self.figures[:, :, self.names.index("signed_modulus_margin")]
        return np.asarray(np.argmin(np.where(np.isnan(column), -np.inf, column), axis=1))

    @property
    def shape(self) -> tuple[int, ...]:
        """Of the points: the lengths of the axes, or the size of the sample."""
        return (len(self.points),) if self.sampled else tuple(len(axis.values) for axis in self.axes)


def worst_of(figure: Figure, values: Reals) -> Reals:
    """The bad end of a figure over the last axis; NaN when one of them is."""
    return np.asarray(np.min(values, axis=-1) if figure.worst == "min" else np.max(values, axis=-1))


def run_study(
    plan: Plan, folder: Path | None = None, engine: Engine | None = None,
    progress: Callable[[float], None] | None = None,
) -> Study:
    """All figures of all points. The bits do not depend on the engine, nor on how often the work was cut short.

    Raises InputError when there are more than four million results, when no point at all can be had (with the first
    reason), and as `experiments.work.run.run` does.
    """
    case, axes, points, fingers = plan.case, plan.axes, plan.points, plan.fingers
    if len(points) * max(len(fingers), 1) > MOST_RESULTS:
        raise InputError(f"{len(points)} points on {len(fingers)} fingers are more than {MOST_RESULTS} results")
    rows = list(points)
    present = tuple(axis.present for axis in axes)
    if None not in present:
        rows.append(present)
    people: list[Finger | None] = [*fingers] or [None]
    batches = _batches(case, rows, len(people))
    work = [[Piece(tuple(rows[i] for i in block), people[who]) for block, who in batch] for batch in batches]
    about = {"rig": case.source.base, "axes": {axis.name: list(axis.values) for axis in axes}, "points": len(points),
             "fingers": len(fingers), "simulated": case.simulated, "seed": case.seed}
    answered: list[list[Answer]] = run(
        work, partial(run_pieces, case), folder, about, engine, progress=progress)
    figures = np.full((len(rows), len(people), len(case.figures)), np.nan)
    reasons: dict[str, int] = {}
    for batch, answers in zip(batches, answered, strict=True):
        for (block, who), answer in zip(batch, answers, strict=True):
            figures[block, who] = answer.figures
            for reason in filter(None, answer.reasons):
                reasons[reason] = reasons.get(reason, 0) + 1
    missing = np.all(np.isnan(figures[: len(points), :, 0]), axis=0)
    if np.all(missing):
        raise InputError(f"no point of the sweep can be had: {next(iter(reasons), 'no loop could be followed')}")
    left_out = tuple(finger.name for finger, out in zip(fingers, missing, strict=bool(fingers)) if out)
    if left_out:
        figures = figures[:, ~missing]
        fingers = tuple(finger for finger in fingers if finger.name not in left_out)
    return Study(
        plan, fingers, figures[: len(points)], figures[-1] if len(rows) > len(points) else None, reasons, left_out,
    )


Block = tuple[list[int], int]  # numbers of rows that share a plant, and of the finger


def _batches(case: Case, rows: Sequence[tuple[Any, ...]], people: int) -> list[list[Block]]:
    """What is worked on together: one block at a time or, if simulated, so many runs of whatever plants and fingers."""
    plants: dict[tuple[Any, ...], list[int]] = {}
    for i, row in enumerate(rows):
        key = tuple(value for name, value in zip(case.names, row, strict=True) if not name.startswith("controller."))
        plants.setdefault(key, []).append(i)
    whole = [(alike, who) for who in range(people) for alike in plants.values()]
    if not case.simulated:
        return [[(alike[i : i + ROWS], who)] for alike, who in whole for i in range(0, len(alike), ROWS)]
    size, batches, room = _runs_together(case), list[list[Block]](), 0
    for alike, who in whole:
        first = 0
        while first < len(alike):
            if room == 0:
                batches.append([])
                room = size
            block = alike[first : first + room]
            batches[-1].append((block, who))
            first, room = first + len(block), room - len(block)
    return batches


def _runs_together(case: Case) -> int:
    """How many runs to simulate at once: enough to fill the lanes, few enough for memory and for a kill's loss."""
    seconds = case.seconds if case.trace is None else case.trace.duration_s
    ticks = max(seconds / case.source.rig().timing.period_s, 1.0)
    return max(LEAST_RUNS, min(RUNS, int(TICKS / ticks)))
