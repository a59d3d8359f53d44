"""How far the law's signals can go: L1 norms of its filters, and what a run of the loop has shown.

|y| ≤ Σ|h| · max|x| for every input, with equality for the worst one (Jackson 1970 scales filters by it; any book on
digital filters). Error and demand have no such bound in a loop: they are chosen, and saturate.
"""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.tick.law import Coefficients, initial_control, law_demand, law_settle

MARGIN = 4.0  # times what a run has shown: fingers differ severalfold in gain
MOST_TICKS = 200_000  # of an impulse response; a pole slower than this is refused by its size
# ranges are never chosen smaller: an error as large as a pulse, a change that opens the valve, full command
LEAST_mmHg, LEAST_RATE, LEAST_DEMAND = 64.0, 1.0, 1.0


class Ranges(NamedTuple):
    """Largest magnitude of each signal that is a word."""

    error_mmHg: float
    lead_mmHg: float
    notch_mmHg: float
    rate: float  # command
    demand: float  # command


def impulse(coefficients: Coefficients, share: float = 1e-9) -> NDArray[np.float64]:
    """Answers of lead, lead with notch, and the derivative behind both to an error of one tick, shape (ticks, 3).

    As long as any is more than `share` of its own largest.
    """
    state, rows = initial_control(), []
    largest = np.zeros(3)
    for tick in range(MOST_TICKS):
        demand, terms = law_demand(coefficients, state, 1.0 if tick == 0 else 0.0)
        state = law_settle(coefficients, state, terms, demand)
        rows.append((terms.lead, terms.notch, terms.derivative))
        now = np.abs(rows[-1])
        largest = np.maximum(largest, now)
        if tick > 8 and np.all(np.abs(rows[-8:]) <= share * largest):
            break
    return np.array(rows)


def norms(coefficients: Coefficients) -> tuple[float, float, float]:
    """L1 norms from error to lead [1], to notch [1] and to derivative [command per mmHg]."""
    lead, notch, rate = np.abs(impulse(coefficients)).sum(0)
    return float(lead), float(notch), float(rate)


def ranges_of(coefficients: Coefficients, error_mmHg: float, rate: float, demand: float) -> Ranges:
    """Ranges for an error that is held to ± `error_mmHg`; what lies behind it by norms, where they are smaller."""
    lead, notch, fast = norms(coefficients)
    return Ranges(error_mmHg, lead * error_mmHg, notch * error_mmHg, min(rate, fast * error_mmHg) or rate, demand)


def ranges_seen(
    coefficients: Coefficients, error_mmHg: float, rate: float, demand: float, margin: float = MARGIN
) -> Ranges:
    """Ranges from the largest magnitudes that a run of the loop has shown, `margin` times as wide."""
    wide = max(LEAST_mmHg, margin * error_mmHg)
    return ranges_of(coefficients, 2.0 ** math.ceil(math.log2(wide)), max(LEAST_RATE, margin * rate),
                     max(LEAST_DEMAND, margin * demand))
