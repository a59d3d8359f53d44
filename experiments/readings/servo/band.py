"""The band that every pulse is looked at in: laws are fitted in it, and what any clamp reads is brought into it.

Slopes and curvatures hang on the upper harmonics, which one clamp passes and another bends. Above NOTHING_Hz hardly one
clamp tells anything true of a pulse, and a law that leans on it holds for no clamp but the one that it was fitted on.
"""
from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]

FULL_Hz, NOTHING_Hz = 14.0, 24.0  # as it is up to here, and gone there


def band(frequency_Hz: Samples) -> Samples:
    """1 up to FULL_Hz, cosine to 0 at NOTHING_Hz."""
    past = np.clip((frequency_Hz - FULL_Hz) / (NOTHING_Hz - FULL_Hz), 0.0, 1.0)
    return np.asarray(0.5 + 0.5 * np.cos(np.pi * past))


def banded(beat_mmHg: Samples, interval_s: float) -> Samples:
    """One beat that is repeated for ever, within the band; shape (samples,)."""
    spectrum = np.fft.rfft(beat_mmHg)
    return np.asarray(np.fft.irfft(spectrum * band(np.arange(len(spectrum)) / interval_s), len(beat_mmHg)))
