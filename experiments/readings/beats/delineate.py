"""The marks of one beat: systolic peak, dicrotic notch, areas before and after it.

The notch is where the smoothed pressure curves up most (second derivative, Gaussian of 8 ms) around the end of
ejection that is usual for the interval, 0.32 s · √T (common practice: 0.3, and the arm's delay); weighted by how far
off it lies, so that neither the upstroke nor a diastolic wave is taken for it.
"""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]

SMOOTHING_s = 0.008
USUAL_NOTCH = 0.32  # s, times the root of the interval in s
EARLIEST_s, LATEST_SHARE = 0.16, 0.62  # of the notch after the foot; of the interval
NOTCH_SPREAD_s = 0.06  # off the usual place, where the weight has fallen to 0.6


class Marks(NamedTuple):
    """What one beat shows; times count from its onset."""

    interval_s: float
    systolic_mmHg: float
    mean_mmHg: float  # area by duration
    diastolic_mmHg: float  # at the foot
    peak_s: float
    notch_s: float
    notch_mmHg: float
    systolic_area_mmHg_s: float  # of the pressure over diastolic, up to the notch
    diastolic_area_mmHg_s: float  # of the same from the notch on
    slope_mmHg_s: float  # steepest
    roughness_mmHg: float  # rms of what is left when the beat is smoothed


def smoothed(values: Samples, deviation: float) -> Samples:
    """Gaussian smoothing, the ends continued by their own values; `deviation` in samples."""
    reach = max(1, int(np.ceil(4.0 * deviation)))
    weights = np.exp(-0.5 * (np.arange(-reach, reach + 1) / max(deviation, 1e-9)) ** 2)
    weights /= np.sum(weights)
    padded = np.pad(values, reach, mode="edge")
    total = padded[: len(values)] * weights[0]
    for place in range(1, len(weights)):  # term by term: the same bits in a stream and in a whole record
        total += padded[place : place + len(values)] * weights[place]
    return np.asarray(total)


def marks_of(pressure_mmHg: Samples, period_s: float) -> Marks:
    """Marks of a beat given from its onset to the next one, both included. At least five samples."""
    values = np.array(pressure_mmHg, float)  # a copy: sums then have the bits of any other copy
    count = len(values) - 1
    interval = count * period_s
    smooth = smoothed(values, SMOOTHING_s / period_s)
    slope = np.gradient(smooth) / period_s
    curve = np.gradient(slope) / period_s
    top = int(np.argmax(values))
    notch = _notch(curve, top, interval, period_s)
    over = values - values[0]
    steps = 0.5 * (over[1:] + over[:-1]) * period_s
    before, after = float(np.sum(steps[:notch])), float(np.sum(steps[notch:]))
    late = slice(notch, max(count - round(0.05 / period_s), notch + 1))
    return Marks(
        interval, float(values[top]), float(values[0]) + (before + after) / interval, float(values[0]), top * period_s,
        notch * period_s, float(values[notch]), before, after, float(np.max(slope)),
        float(np.sqrt(np.mean((values - smooth)[late] ** 2))),
    )


def _notch(curve: Samples, top: int, interval_s: float, period_s: float) -> int:
    """Sample of the notch; the usual place where the window holds no upward curve."""
    usual = USUAL_NOTCH * np.sqrt(interval_s)
    first = max(round(EARLIEST_s / period_s), top + 1)
    last = min(round(LATEST_SHARE * interval_s / period_s), len(curve) - 2)
    if first >= last:
        return int(min(max(round(usual / period_s), 1), len(curve) - 2))
    time = np.arange(first, last + 1) * period_s
    weighted = curve[first : last + 1] * np.exp(-0.5 * ((time - usual) / NOTCH_SPREAD_s) ** 2)
    if np.max(weighted) <= 0.0:
        return int(min(max(round(usual / period_s), first), last))
    return first + int(np.argmax(weighted))
