"""A rig on many fingers: margins at each finger's own pressures, and a run where asked for, held against limits.

Where the rig's file says what a bench left open (`[spread]`, `[correlation]`), each finger gets a rig of its own, drawn
within that, under the firmware of the rig as it was found; and is judged on the rig as it was found beside.
"""
from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.design.sweep.piece import Case, Figure, Piece, run_pieces
from experiments.design.sweep.verdict import Limit, limits_among
from experiments.rigs.rig import Source
from experiments.rigs.uncertain import Uncertain, draws, uncertain_of, with_beliefs
from experiments.subjects.finger import Finger
from plant.errors import InputError

Reals = NDArray[np.float64]
TOGETHER = 16  # fingers worked on at once: a full vector of runs


class Plan(NamedTuple):
    """Everything that the judgement follows from."""

    source: Source
    fingers: tuple[Finger, ...]
    requirements: dict[str, dict[str, float]]
    simulated: bool = False
    seconds: float = 30.0  # of each finger's own pressure
    percentile: float = 100.0  # share of the fingers that must keep the limits [%]
    seed: int = 1  # of the rigs that are drawn


class Judged(NamedTuple):
    """What came out. Figures have one entry a finger and figure; NaN where there is none."""

    plan: Plan
    uncertain: Uncertain | None
    limits: tuple[Limit, ...]
    as_found: Reals  # on the rig as it is
    drawn: Reals | None  # each finger on a rig of its own; None where nothing is left open
    reasons: tuple[str, ...]  # one a finger, why it could not be had; empty where it could

    @property
    def figures(self) -> dict[str, Figure]:
        """The figures, in order."""
        return case_of(self.plan).figures

    @property
    def judged(self) -> Reals:
        """What the verdict is on: drawn rigs where there are any."""
        return self.as_found if self.drawn is None else self.drawn

    @property
    def needed(self) -> int:
        """How many fingers must keep every limit."""
        return math.ceil(self.plan.percentile / 100.0 * len(self.plan.fingers) - 1e-9)

    @property
    def passed(self) -> bool:
        """Whether so many do."""
        return int(np.sum(kept(self, self.judged))) >= self.needed


def case_of(plan: Plan) -> Case:
    """What all fingers have in common."""
    uncertain = uncertain_of(plan.source)
    names = () if uncertain is None else uncertain.names
    return Case(with_beliefs(plan.source), names, plan.simulated, None, None, plan.seconds, 0.0, plan.seed)


def judge_fingers(plan: Plan, progress: Callable[[float], None] | None = None) -> Judged:
    """The figures of every finger. Raises InputError when not one of them can be had, with the first reason."""
    case, uncertain = case_of(plan), uncertain_of(plan.source)
    rows: list[tuple[float, ...]] = [tuple(uncertain.values.tolist()) if uncertain is not None else ()]
    own = draws(uncertain, len(plan.fingers), plan.seed) if uncertain is not None else []
    kinds = 1 if uncertain is None else 2
    found = np.full((kinds, len(plan.fingers), len(case.figures)), np.nan)
    reasons = [""] * len(plan.fingers)
    for first in range(0, len(plan.fingers), TOGETHER):
        some = range(first, min(first + TOGETHER, len(plan.fingers)))
        for kind in range(kinds):
            pieces = [Piece((own[i] if kind else rows[0],), plan.fingers[i]) for i in some]
            for i, answer in zip(some, run_pieces(case, pieces), strict=True):
                found[kind, i] = answer.figures[0]
                reasons[i] = reasons[i] or answer.reasons[0]
            if progress is not None:
                progress((first + (kind + 1) / kinds * len(some)) / len(plan.fingers))
    if np.all(np.isnan(found[..., 0])):
        raise InputError(f"not one finger can be had: {next(filter(None, reasons), 'no loop could be followed')}")
    limits = tuple(limits_among(case.figures, plan.requirements))
    return Judged(plan, uncertain, limits, found[0], found[1] if kinds > 1 else None, tuple(reasons))


def column(found: Judged, figures: Reals, name: str) -> Reals:
    """One figure over the fingers."""
    return np.asarray(figures[:, list(found.figures).index(name)])


def keeps_limit(found: Judged, figures: Reals, limit: Limit) -> NDArray[np.bool_]:
    """Whether each finger keeps one limit; one without that figure does not."""
    values = column(found, figures, limit.name)
    return np.asarray((values >= limit.low) & (values <= limit.high))


def kept(found: Judged, figures: Reals) -> NDArray[np.bool_]:
    """Whether each finger is stable, holds its clamp where it was run, and keeps every limit."""
    good = column(found, figures, "stable") == 1.0
    if found.plan.simulated:
        good &= column(found, figures, "run_done") == 1.0
    for limit in found.limits:
        good &= keeps_limit(found, figures, limit)
    return np.asarray(good)


def worst(found: Judged, figures: Reals, name: str) -> tuple[float, str]:
    """The worst value of a figure and whose it is; NaN and the first finger that has none."""
    values = column(found, figures, name)
    lost = np.isnan(values)
    if np.any(lost):
        return math.nan, found.plan.fingers[int(np.argmax(lost))].name
    at = int(np.argmin(values) if found.figures[name].worst == "min" else np.argmax(values))
    return float(values[at]), found.plan.fingers[at].name
