"""Waves and values of the upper arm that agree: from each foot to the next the wave is stretched to its beat's values.

    p = D(t) + g (w − d(t)),   D and d straight lines between the feet, of the values and of the wave
The values are closer than the peaks of any filtered wave; the shape between them stays the wave's own.
"""
from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]
EARLY_s, LATE_s = 0.2, 0.08  # of the foot at the arm, before and after that at the finger


def feet(wave_mmHg: Samples, period_s: float, onset_s: Samples) -> NDArray[np.int64]:
    """Samples of the feet at the arm for onsets at the finger; −1 where the wave is not there."""
    found = np.full(len(onset_s), -1, np.int64)
    for k, onset in enumerate(onset_s.tolist()):
        first = max(round((onset - EARLY_s) / period_s), 0)
        part = wave_mmHg[first : max(round((onset + LATE_s) / period_s), first + 1)]
        if len(part) and np.all(np.isfinite(part)):
            found[k] = first + int(np.argmin(part))
    return found


def agreed(wave_mmHg: Samples, period_s: float, onset_s: Samples, interval_s: Samples, values_mmHg: Samples) -> Samples:
    """The wave with each beat's systolic and diastolic value; `values_mmHg` (beats, 3). Other samples are shifted."""
    at = feet(wave_mmHg, period_s, onset_s)
    known = (at >= 0) & np.all(np.isfinite(values_mmHg), axis=1)
    if not np.any(known):
        return wave_mmHg
    out = wave_mmHg + float(np.mean(values_mmHg[known, 2] - wave_mmHg[at[known]]))
    for k, following in pairwise(range(len(at))):
        begin, end = int(at[k]), int(at[following])
        joined = np.isfinite(interval_s[k]) and abs(onset_s[following] - onset_s[k] - interval_s[k]) < period_s
        if not (known[k] and known[following] and joined and end > begin + 2):
            continue
        own = wave_mmHg[begin : end + 1]
        share = np.linspace(0.0, 1.0, len(own))
        low = own[0] + (own[-1] - own[0]) * share
        wanted = values_mmHg[k, 2] + (values_mmHg[following, 2] - values_mmHg[k, 2]) * share
        top = int(np.argmax(own - low))
        if own[top] - low[top] > 1.0:
            out[begin : end + 1] = wanted + (own - low) * ((values_mmHg[k, 0] - wanted[top]) / (own[top] - low[top]))
    return np.asarray(out)
