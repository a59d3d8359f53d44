"""One plant under many controllers: margins as of each loop by itself, at a fraction of the time."""
from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.margins.loop import Loop, loop_margins, open_loop
from controller.margins.margins import ManyMargins, margins_many
from controller.margins.sampled import augmented
from controller.tick.law import Coefficients, controller_linear
from plant.errors import InputError


class GainSets(NamedTuple):
    """Controllers with what the survey of any plant needs to know of each."""

    sets: tuple[Coefficients, ...]
    rows: NDArray[np.float64]  # (sets, coefficients)
    integrators: NDArray[np.int64]  # (sets,) poles at z = 1
    unstable: NDArray[np.int64]  # (sets,) poles outside the unit circle
    slowest: float  # |log z| of the slowest pole of them all, infinite when there is none


def gain_sets(sets: Sequence[Coefficients]) -> GainSets:
    """Controllers made ready. Raises InputError when there are none."""
    if not sets:
        raise InputError("gain sets: none given, at least one is needed")
    linear = [controller_linear(coefficients) for coefficients in sets]
    poles = np.linalg.eigvals(np.array([a for a, _, _, _ in linear])).astype(complex)
    poles[~np.any([row for _, _, row, _ in linear], axis=(1, 2))] = 0.0  # states that never reach the demand
    moving = np.abs(poles) > 1e-3
    rates = np.abs(np.log(poles[moving]))
    slow = rates[rates > 1e-6]
    return GainSets(tuple(sets), np.array(sets, float), *_counts(poles), float(np.min(slow, initial=np.inf)))


def _counts(poles: NDArray[np.complex128]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """How many poles along the last axis are integrators, and how many lie outside the unit circle."""
    at_one = np.abs(poles - 1.0) < 1e-9
    return np.sum(at_one, axis=-1), np.sum((np.abs(poles) > 1.0 + 1e-9) & ~at_one, axis=-1)


def margins_of_sets(loop: Loop, many: GainSets) -> ManyMargins:
    """Margins of a loop's plant under each of these controllers, in their order; the loop's own is not looked at.

    The frequency grid follows the first controller. Where it does not follow another one closely enough, that one is
    surveyed again on its own.
    """
    first = open_loop(loop._replace(coefficients=many.sets[0]))
    a, _, _ = augmented(loop.discrete, loop.by_demand, loop.by_reading, loop.light_slope)
    integrators, unstable = _counts(np.linalg.eigvals(a).astype(complex))
    slowest = min(first.low_rad_s, 0.01 * many.slowest / loop.timing.period_s)
    found = margins_many(first._replace(low_rad_s=slowest), many.rows, integrators + many.integrators,
                         unstable + many.unstable)
    for i in np.flatnonzero(~found.resolved):
        alone = loop_margins(loop._replace(coefficients=many.sets[int(i)]))
        for name, column in found._asdict().items():
            column[i] = getattr(alone, name)
    return found
