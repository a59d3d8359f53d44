"""Held-out errors and the spread that intervals take from them: every choice is made inside the people fitted on.

People are dealt into TENTHS groups; each group is predicted by what was fitted on all others, a whole person at a time.
"""
from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from experiments.readings.output.interval import NORMAL_90
from experiments.readings.output.stroke import DECADES

Samples = NDArray[np.float64]
TENTHS = 10
SHARE = 0.9  # of errors that an interval holds
MIDDLE_years, LEAST = 50.0, 0.5  # of ages; of the spread of everybody, where a line would go below
SHARES = tuple(float(10.0**k) for k in np.arange(-6.0, -0.9, 0.5))  # of a ridge that are tried


def tenths(people: NDArray[np.int64]) -> NDArray[np.int64]:
    """Group of every case, by whose it is; `people` has shape (cases,)."""
    return np.asarray(np.unique(people, return_inverse=True)[1] % TENTHS, np.int64)


def held_out(
    people: NDArray[np.int64], rows: Samples, values: Samples, fit: Callable[[Samples, Samples], Samples],
    wanted: Samples | None = None,
) -> Samples:
    """Predictions `wanted` @ fit(rows, values) of each group by the fit to the others, shape of `values`.

    `wanted`: rows that are predicted for; None: the same.
    """
    group, found = tenths(people), np.full(values.shape, np.nan)
    asked = rows if wanted is None else wanted
    for k in np.unique(group):
        own = group == k
        found[own] = asked[own] @ fit(rows[~own], values[~own])
    return found


def least_squares(rows: Samples, values: Samples) -> Samples:
    """Coefficients, (columns,) or (columns, values' columns)."""
    return np.asarray(np.linalg.lstsq(rows, values, rcond=None)[0], float)


def ridge(rows: Samples, values: Samples, share: float) -> Samples:
    """Least squares with a penalty on each column's own scale; a column that is the same in all rows takes the mean."""
    middle, scale = np.mean(rows, axis=0), np.std(rows, axis=0)
    still = scale < 1e-9 * np.maximum(np.abs(middle), 1e-9)
    scaled = np.where(still, 0.0, (rows - middle) / np.where(still, 1.0, scale))
    normal = scaled.T @ scaled + share * len(rows) * np.eye(rows.shape[1])
    found = np.linalg.solve(normal, scaled.T @ (values - np.mean(values))) / np.where(still, 1.0, scale)
    one = np.flatnonzero(still)[0]
    found[one] = (np.mean(values) - middle @ np.where(still, 0.0, found)) / middle[one]
    return np.asarray(found)


def best_share(people: NDArray[np.int64], rows: Samples, values: Samples) -> float:
    """The ridge that predicts people who are held out best."""
    def error(share: float) -> float:
        return float(np.mean((held_out(people, rows, values, lambda a, b: ridge(a, b, share)) - values) ** 2))

    return min(SHARES, key=error)


def spread_by_decade(values: Samples, ages: Samples) -> Samples:
    """SD of a normal law whose nine tenths hold as many of the errors at the middle of each decade; shape (decades,).

    A decade alone holds too few people, whose own spread would be taken for that of the decade: the size that nine in
    ten do not exceed is a straight line in age, by quantile regression (Koenker & Bassett, Econometrica 1978;46:33).
    """
    from scipy.optimize import linprog
    from scipy.sparse import csr_array, eye_array, hstack

    size, count = np.abs(values), len(values)
    rows = np.column_stack([np.ones(count), (ages - MIDDLE_years) / MIDDLE_years])
    above_below = hstack([csr_array(rows), eye_array(count), -eye_array(count)])
    weights = np.r_[0.0, 0.0, np.full(count, SHARE), np.full(count, 1.0 - SHARE)]
    found = linprog(weights, A_eq=above_below, b_eq=size, bounds=[(None, None)] * 2 + [(0.0, None)] * (2 * count))
    line = np.polyval(found.x[1::-1], (np.array(DECADES[:-1]) + 5.0 - MIDDLE_years) / MIDDLE_years)
    return np.asarray(np.maximum(line, LEAST * np.quantile(size, SHARE)) / NORMAL_90)
