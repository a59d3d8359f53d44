"""One plant under many controllers: margins as of each loop by itself, at a fraction of the time."""
from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from controller.law import Coefficients, controller_linear
from controller.loop import Loop, loop_margins, open_loop
from controller.margins import ManyMargins, margins_many
from controller.sampled import augmented
from plant.errors import InputError


def margins_of_sets(loop: Loop, sets: Sequence[Coefficients]) -> ManyMargins:
    """Margins of a loop's plant under each of these controllers, in their order; the loop's own is not looked at.

    The frequency grid follows the first controller. Where it does not follow another one closely enough, that one is
    surveyed again on its own. Raises InputError when there is no controller.
    """
    if not sets:
        raise InputError("gain sets: none given, at least one is needed")
    first = open_loop(loop._replace(coefficients=sets[0]))
    a, _, _ = augmented(loop.discrete, loop.by_demand, loop.by_reading, loop.light_slope)
    own = np.linalg.eigvals(a)
    counts, slowest = [], first.low_rad_s
    for coefficients in sets:
        matrix, _, row, _ = controller_linear(coefficients)
        theirs = np.linalg.eigvals(matrix) if np.any(row) else np.zeros(0)
        counts.append(_outside(np.concatenate([own, theirs])))
        rates = np.abs(np.log(theirs[np.abs(theirs) > 1e-3].astype(complex))) / loop.timing.period_s
        slow = rates[rates > 1e-6]
        slowest = min(slowest, 0.01 * float(np.min(slow)) if len(slow) else slowest)
    integrators, unstable = np.array(counts).T
    found = margins_many(first._replace(low_rad_s=slowest), np.array(sets, float), integrators, unstable)
    for i in np.flatnonzero(~found.resolved):
        alone = loop_margins(loop._replace(coefficients=sets[int(i)]))
        for name, column in found._asdict().items():
            column[i] = getattr(alone, name)
    return found


def _outside(poles: np.ndarray) -> tuple[int, int]:
    """How many open-loop poles are integrators, and how many lie outside the unit circle."""
    at_one = np.abs(poles - 1.0) < 1e-9
    return int(np.sum(at_one)), int(np.sum((np.abs(poles) > 1.0 + 1e-9) & ~at_one))
