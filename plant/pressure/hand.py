"""The hand that goes up or down: how long its way takes, and how far it has come. Pressure in it changes by −ρ g Δh.

Whoever models it says how fast it moves and what else happens; the way itself is written here only.
"""
from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]
USUAL_m_s = 0.04  # 4–5 cm/s: Raamat et al. 2009
QUICK_m_s = 0.1  # in a hurry (invented)


def way_s(height_m: float, speed_m_s: float, least_s: float = 0.0) -> float:
    """Time [s] that a way up (or down, if negative) takes at a speed, at least `least_s`."""
    return max(abs(height_m) / speed_m_s, least_s)


def straight(time_s: Samples, start_s: float, ramp_s: float) -> Samples:
    """Share of a way, 0 … 1, that is behind at times [s], at constant speed from its start on."""
    return np.asarray(np.clip((time_s - start_s) / ramp_s, 0.0, 1.0))


def smooth(share: Samples) -> Samples:
    """The same way without corners: 3u² − 2u³."""
    return np.asarray(share * share * (3.0 - 2.0 * share))
