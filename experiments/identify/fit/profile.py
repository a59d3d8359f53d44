"""Profile likelihood: how far one number can move, all others following, until the recordings object.

The interval ends where the sum of squares has risen by 3.84, the 95 % point of chi-square with one degree of freedom
(Venzon & Moolgavkar 1988). Its ends are found from the curvature and then corrected by what the fit really does there.
"""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.identify.fit.problem import Problem, evaluate
from experiments.identify.fit.solve import Solution, gauss_newton

Samples = NDArray[np.float64]
RISE = 3.841458820694124  # chi-square, one degree of freedom, 95 %
FARTHEST = 1.1  # in the search's coordinates: about a factor of three
CORRECTIONS = 2
CLOSE = 0.02  # relative, of the rise


class Interval(NamedTuple):
    """95 % interval of a number, in its unit, and whether each end was found."""

    low: float
    high: float
    closed_below: bool
    closed_above: bool
    profiled: bool


def profile(
    problem: Problem, solution: Solution, spread: Samples, k: int, full: bool = True, centre: Samples | None = None
) -> Interval:
    """Interval of number `k`; without `full`, from the curvature alone.

    `centre` is where it lies about, where that is not the solution: its width is found with fewer steps than its place.
    """
    middle = float(solution.x[k] if centre is None else centre[k])
    free = problem.free[k]
    size = float(np.sqrt(spread[k, k])) if np.isfinite(spread[k, k]) else np.inf
    ends, closed = [], []
    for sign in (-1.0, 1.0):
        reach = np.sqrt(RISE) * size
        found = reach <= FARTHEST
        if full:
            reach, found = followed(problem, solution, spread, k, sign)
        ends.append(free.outside(middle + sign * float(min(reach, 10.0))))
        closed.append(bool(found))
    return Interval(ends[0], ends[1], closed[0], closed[1], full)


def followed(problem: Problem, solution: Solution, spread: Samples, k: int, sign: float) -> tuple[float, bool]:
    """How far number `k` goes one way until the sum of squares has risen by RISE, and whether it does at all."""
    size = float(np.sqrt(spread[k, k])) if np.isfinite(spread[k, k]) else np.inf
    reach = min(np.sqrt(RISE) * size, FARTHEST)
    low, high = problem.bounds
    room = float(high[k] - solution.x[k] if sign > 0.0 else solution.x[k] - low[k])
    for _ in range(CORRECTIONS):
        held = min(reach, room)
        rise = risen(problem, solution, spread, k, sign * held)
        if held >= room and rise < RISE:
            return room, False
        if rise <= 0.0:
            reach = min(2.0 * reach, FARTHEST)
            continue
        if abs(rise / RISE - 1.0) < CLOSE:
            return held, True
        reach = held * float(np.sqrt(RISE / rise))
        if reach > FARTHEST:
            return FARTHEST, False
    return min(reach, room), reach < FARTHEST


def risen(problem: Problem, solution: Solution, spread: Samples, k: int, move: float) -> float:
    """Rise of the sum of squares with number `k` moved and held, the others where they then fit best."""
    others = [i for i in range(len(solution.x)) if i != k]
    x = solution.x.copy()
    x[k] += move
    if np.isfinite(spread[k, k]) and spread[k, k] > 0.0:
        x[others] += spread[others, k] / spread[k, k] * move
    x = np.clip(x, *problem.bounds)
    best = np.inf
    for _ in range(2):
        residuals, jacobian = evaluate(problem, x)
        best = min(best, float(residuals @ residuals))
        if not others:
            break
        step = gauss_newton(residuals, jacobian[:, others])
        expected = float(np.sum((jacobian[:, others] @ step) ** 2))
        if expected < 0.05:
            return best - expected - 2.0 * solution.cost
        x[others] += step
        x = np.clip(x, *problem.bounds)
    return best - 2.0 * solution.cost
