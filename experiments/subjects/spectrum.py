"""How the variance of an arterial pressure is spread over frequency: Welch's method, gathered into narrow bands."""
from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from plant.errors import InputError

Reals = NDArray[np.float64]

SEGMENT_s = 8.192  # of one spectrum: resolves breathing and the 0.1 Hz waves, just
HIGHEST_Hz = 60.0  # nothing of a pulse lies above
BANDS = 64  # logarithmic, 12 % wide at 60 Hz: a sensitivity changes little within one


def pressure_variance(
    pressure_mmHg: Reals, period_s: float, highest_Hz: float = HIGHEST_Hz
) -> tuple[Reals, Reals]:
    """Centre frequency [Hz] and variance [mmHg²] of each band that holds any, about the mean of each segment.

    Segments are half overlapped and weighted by Hann's window (Welch 1967); a band's centre is that of its variance.
    Raises InputError for a trace shorter than one segment.
    """
    length = 2 * round(0.5 * SEGMENT_s / period_s)
    if len(pressure_mmHg) < length:
        raise InputError(f"the pressure is {len(pressure_mmHg) * period_s:.4g} s long, "
                         f"a spectrum takes {SEGMENT_s:g} s")
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(length) / length)
    starts = range(0, len(pressure_mmHg) - length + 1, length // 2)
    segments = [pressure_mmHg[i : i + length] for i in starts]
    power = np.mean([np.abs(np.fft.rfft((s - np.mean(s)) * window)) ** 2 for s in segments], axis=0)
    power *= 2.0 / (length * float(np.sum(window**2)))
    frequency = np.fft.rfftfreq(length, period_s)
    top = min(highest_Hz, 0.499 / period_s)
    edges = np.geomspace(0.5 * frequency[1], top, BANDS + 1)
    band = np.searchsorted(edges, frequency)
    total: Reals = np.bincount(band, power, BANDS + 2)[1 : BANDS + 1].astype(float)
    moment = np.bincount(band, power * frequency, BANDS + 2)[1 : BANDS + 1]
    held = total > 0.0
    return moment[held] / total[held], total[held]


def rms_in_bands(variance_mmHg2: Reals) -> float:
    """Rms [mmHg] of all bands together."""
    return math.sqrt(float(np.sum(variance_mmHg2)))
