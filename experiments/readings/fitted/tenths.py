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
NEAR_years = 10.0  # on both sides of the middle of a decade: people whose errors make its spread
FEWEST = 30  # of errors there; else everybody's make it
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
    """The strongest ridge whose error on people who are held out is within one standard error of the least one.

    That rule is Breiman's and others' (Classification and Regression Trees, 1984; from memory).
    """
    number = np.unique(people, return_inverse=True)[1]
    by_person = []
    for share in SHARES:
        found = held_out(people, rows, values, lambda a, b, share=share: ridge(a, b, share))  # type: ignore[misc]
        by_person.append(np.bincount(number, (found - values) ** 2) / np.bincount(number))
    errors = np.mean(by_person, axis=1)
    least = int(np.argmin(errors))
    allowed = errors[least] + np.std(by_person[least], ddof=1) / np.sqrt(len(by_person[least]))
    return max(share for share, error in zip(SHARES, errors, strict=True) if error <= allowed)


def spread_by_decade(values: Samples, ages: Samples) -> Samples:
    """SD of a normal law whose nine tenths hold as many of the errors of people near each decade; shape (decades,).

    A decade alone holds too few people: its neighbours' errors count as well, NEAR_years from its middle.
    """
    everybody = float(np.quantile(np.abs(values), 0.9))
    found = []
    for middle in np.array(DECADES[:-1]) + 5.0:
        near = np.abs(values[np.abs(ages - middle) <= NEAR_years])
        found.append(float(np.quantile(near, 0.9)) if len(near) >= FEWEST else everybody)
    return np.array(found) / NORMAL_90
