"""Harmonic-by-harmonic gain and phase from one pressure to another, at a heart rate that varies.

With segments of 8 s, a Hann window and half overlap, the spectra S_xx and S_xy are averaged (Welch 1967); in a band of
±0.35 f0 around each harmonic k·f0 of the mean rate,  H_k = Σ S_xy / Σ S_xx  (the H1 estimate: noise in the output does
not bias it; Bendat & Piersol, textbook). A beat that comes early or late moves power within the band, not the answer,
which is why beats are not warped onto a common phase: warping would bend a constant delay.
"""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]
Mask = NDArray[np.bool_]

SEGMENT_s = 8.0
SHORTEST_BEATS = 3.0  # a shorter segment cannot part the harmonics
BAND = 0.35  # of the mean rate, on each side
HARMONICS = 10


class Harmonic(NamedTuple):
    """Transfer at one harmonic of the mean rate."""

    number: int
    frequency_Hz: float  # where the input's power lies within the band
    gain: float
    phase_deg: float  # negative when the output lags; unwrapped from the first harmonic on
    coherence: float  # 0 … 1: share of the output that the input explains


def harmonic_transfer(
    output: Samples, source: Samples, usable: Mask, period_s: float, rate_Hz: float, count: int = HARMONICS
) -> tuple[Harmonic, ...]:
    """Gain and phase of `output` against `source` at the harmonics of `rate_Hz` (arrays of one shape).

    Only stretches in which every sample is usable take part. Empty when none is long enough, or the rate is not
    positive; harmonics above half the sampling rate are left out.
    """
    if not rate_Hz > 0.0:
        return ()
    runs = usable_runs(usable)
    longest = max((end - start for start, end in runs), default=0)
    width = min(round(SEGMENT_s / period_s), longest)
    if width * period_s * rate_Hz < SHORTEST_BEATS:
        return ()
    sums = _spectra(output, source, runs, width)
    frequency = np.arange(width // 2 + 1) / (width * period_s)
    found = [_at(number, sums, frequency, rate_Hz) for number in range(1, count + 1)]
    kept = [h for h in found if h is not None]
    phases = np.unwrap(np.array([h.phase_deg for h in kept]), period=360.0)
    return tuple(h._replace(phase_deg=float(phase)) for h, phase in zip(kept, phases, strict=True))


def usable_runs(usable: Mask) -> list[tuple[int, int]]:
    """Start and end (exclusive) of each unbroken stretch of usable samples."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], usable.astype(np.int8), [0]])))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _spectra(output: Samples, source: Samples, runs: list[tuple[int, int]], width: int) -> tuple[Samples, ...]:
    """Sums of S_xx, Re S_xy, Im S_xy and S_yy over all segments, each of shape (width // 2 + 1,)."""
    window = np.hanning(width + 1)[:-1]
    sums = np.zeros((4, width // 2 + 1))
    for start, end in runs:
        for first in range(start, end - width + 1, max(1, width // 2)):
            part = slice(first, first + width)
            x, y = (np.fft.rfft(window * (v[part] - np.mean(v[part]))) for v in (source, output))
            cross = np.conj(x) * y
            sums += np.array([np.abs(x) ** 2, cross.real, cross.imag, np.abs(y) ** 2])
    return tuple(sums)


def _at(number: int, sums: tuple[Samples, ...], frequency_Hz: Samples, rate_Hz: float) -> Harmonic | None:
    if (number + BAND) * rate_Hz > frequency_Hz[-1]:
        return None
    band = np.abs(frequency_Hz - number * rate_Hz) <= max(BAND * rate_Hz, frequency_Hz[1])
    power, real, imaginary, answer = (float(np.sum(v[band])) for v in sums)
    if power <= 0.0:
        return None
    centre = float(np.sum(frequency_Hz[band] * sums[0][band])) / power
    size = real * real + imaginary * imaginary
    coherence = size / (power * answer) if answer > 0.0 else 0.0
    phase = float(np.degrees(np.arctan2(imaginary, real)))
    return Harmonic(number, centre, float(np.sqrt(size)) / power, phase, min(coherence, 1.0))
