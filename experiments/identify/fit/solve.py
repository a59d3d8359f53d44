"""Least squares with bounds by SciPy's trust-region solver, several starts, and what the result is worth.

The covariance comes from a QR of the Jacobian with columns of unit length, which keeps the digits that the plain
normal equations lose (Golub & Van Loan). Nothing here knows of rigs: reference problems go through the same code.
"""
from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]
Evaluate = Callable[[Samples], tuple[Samples, Samples]]  # values -> residuals (n,), Jacobian (n, p)
POLISH = 12  # undamped steps at most, after the solver has stopped
SETTINGS: tuple[dict[str, object], ...] = ({"x_scale": 1.0}, {"x_scale": "jac"})


class Solution(NamedTuple):
    """Where a search has ended."""

    x: Samples
    residuals: Samples
    jacobian: Samples
    cost: float  # half the sum of squares
    evaluations: int
    start: int  # which one led here


class Memory:
    """Residuals and Jacobian of the last place asked for: the solver asks for one after the other."""

    kept: tuple[Samples, Samples, Samples] | None

    def __init__(self, evaluate: Evaluate) -> None:
        self.evaluate, self.asked, self.kept = evaluate, 0, None

    def at(self, x: Samples) -> tuple[Samples, Samples]:
        """Both, worked out once for each place."""
        if self.kept is None or not np.array_equal(self.kept[0], x):
            self.asked += 1
            self.kept = (x.copy(), *self.evaluate(x))
        return self.kept[1], self.kept[2]


def solve(
    evaluate: Evaluate, start: Samples, bounds: tuple[Samples, Samples], most: int = 60, setting: int = 0,
    number: int = 0, close: float = 1e-12,
) -> Solution:
    """One search from one start. `setting` is which of SETTINGS the solver scales its variables by; it stops where a
    step changes variables or cost by less than the share `close`."""
    from scipy.optimize import least_squares

    memory = Memory(evaluate)
    inside = np.clip(start, bounds[0] + 1e-9, bounds[1] - 1e-9)
    found = least_squares(
        lambda x: memory.at(x)[0], inside, jac=lambda x: memory.at(x)[1], bounds=bounds, method="trf", max_nfev=most,
        xtol=close, ftol=close, gtol=1e-12, **SETTINGS[setting],
    )
    residuals, jacobian = memory.at(found.x)
    return Solution(found.x, residuals, jacobian, 0.5 * float(residuals @ residuals), memory.asked, number)


def polished(evaluate: Evaluate, solution: Solution, bounds: tuple[Samples, Samples], most: int = POLISH) -> Solution:
    """The same after undamped Gauss–Newton steps, as long as the cost does not rise."""
    best, asked = solution, 0
    for _ in range(most):
        step = gauss_newton(best.residuals, best.jacobian)
        x = np.clip(best.x + step, *bounds)
        residuals, jacobian = evaluate(x)
        asked += 1
        cost = 0.5 * float(residuals @ residuals)
        if not cost <= best.cost * (1.0 + 1e-14):
            break
        small = float(np.max(np.abs(x - best.x) / (1e-12 + np.abs(best.x)))) < 1e-11
        best = best._replace(x=x, residuals=residuals, jacobian=jacobian, cost=cost)
        if small:
            break
    return best._replace(evaluations=solution.evaluations + asked)


def gauss_newton(residuals: Samples, jacobian: Samples) -> Samples:
    """Undamped step, by QR with columns of unit length."""
    lengths = column_lengths(jacobian)
    q, r = np.linalg.qr(jacobian / lengths)
    try:
        return np.asarray(-np.linalg.solve(r, q.T @ residuals) / lengths, float)
    except np.linalg.LinAlgError:
        return np.zeros(len(lengths))


def several(
    evaluate: Evaluate, starts: Sequence[Samples], bounds: tuple[Samples, Samples], enough: float, most: int = 60
) -> list[Solution]:
    """Searches from one start after the other, best first: until one costs no more than `enough`, or two agree."""
    found: list[Solution] = []
    for number, start in enumerate(starts):
        found.append(solve(evaluate, np.asarray(start, float), bounds, most, number=number))
        if found[-1].cost <= enough or agrees(found[-1], found[:-1]):
            break
    return sorted(found, key=lambda solution: solution.cost)


def agrees(last: Solution, others: Sequence[Solution]) -> bool:
    """Whether the cheapest search so far has been there before: another start would bring nothing."""
    return any(abs(one.cost - last.cost) < 1e-3 * last.cost and np.max(np.abs(one.x - last.x)) < 1e-2
               and last.cost <= min(other.cost for other in others) * (1.0 + 1e-3) for one in others)


def column_lengths(jacobian: Samples) -> Samples:
    """Euclidean length of each column; 1 for a column of zeros."""
    lengths = np.linalg.norm(jacobian, axis=0)
    return np.asarray(np.where(lengths > 0.0, lengths, 1.0), float)


def covariance(jacobian: Samples) -> Samples:
    """(JᵀJ)⁻¹ for residuals of unit variance; infinite where the data say nothing."""
    lengths = column_lengths(jacobian)
    r = np.asarray(np.linalg.qr(jacobian / lengths, mode="r"))
    count = len(r)
    if np.min(np.abs(np.diag(r))) < 1e-13:
        return np.full((count, count), np.inf)
    inverse = np.linalg.solve(r, np.eye(count))
    return np.asarray(inverse @ inverse.T / np.outer(lengths, lengths), float)


class Weakness(NamedTuple):
    """How well the data tell the numbers apart."""

    condition: float  # of the Jacobian with columns of unit length
    direction: Samples  # the combination that they tell least of, unit length, in the search's coordinates
    correlation: float  # largest between two numbers
    pair: tuple[int, int]


def weakness(jacobian: Samples) -> Weakness:
    """Condition, weakest direction, and the most correlated pair."""
    lengths = column_lengths(jacobian)
    r = np.asarray(np.linalg.qr(jacobian / lengths, mode="r"))
    _, sizes, rows = np.linalg.svd(r)
    direction = rows[-1] / lengths
    direction = direction / np.linalg.norm(direction)
    spread = covariance(jacobian)
    if not np.all(np.isfinite(spread)) or len(lengths) < 2:
        worst = 1.0 if len(lengths) > 1 else 0.0
        return Weakness(float(sizes[0] / max(sizes[-1], 1e-300)), direction, worst, (0, len(lengths) - 1))
    deviations = np.sqrt(np.diag(spread))
    correlations = spread / np.outer(deviations, deviations) - np.eye(len(deviations))
    i, j = np.unravel_index(int(np.argmax(np.abs(correlations))), correlations.shape)
    return Weakness(float(sizes[0] / sizes[-1]), direction, float(correlations[i, j]), (int(i), int(j)))


def hard(
    evaluate: Evaluate, start: Samples, bounds: tuple[Samples, Samples], most: int = 5000, polish: int = 200
) -> Solution:
    """One start by every setting and, without bounds, by MINPACK, each polished: the cheapest end.

    For a problem whose numbers differ by powers of ten and cannot be searched by their logarithms.
    """
    from scipy.optimize import least_squares

    ends = [polished(evaluate, solve(evaluate, start, bounds, most, k), bounds, polish) for k in range(len(SETTINGS))]
    if not np.any(np.isfinite(np.concatenate(bounds))):
        memory = Memory(evaluate)
        for scale in (1.0, "jac"):
            found = least_squares(lambda x: memory.at(x)[0], start, jac=lambda x: memory.at(x)[1], method="lm",
                                  max_nfev=most, x_scale=scale, xtol=1e-15, ftol=1e-15, gtol=1e-15)
            residuals, jacobian = memory.at(found.x)
            end = Solution(found.x, residuals, jacobian, 0.5 * float(residuals @ residuals), memory.asked, 0)
            ends.append(polished(evaluate, end, bounds, polish))
    return min(ends, key=lambda end: end.cost)
