"""Band-limited interpolation of evenly sampled records, and bridging of samples that cannot be used.

y(x) = Σ_k x_k · h(x − k),  h a Kaiser-windowed sinc (Kaiser 1974; textbook method). When the wanted samples lie
further apart than the given ones, h is widened by that ratio, so that nothing folds back. Plain NumPy: importing
scipy.signal alone would take longer than reading the record.
"""
from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]
Mask = NDArray[np.bool_]

HALF_WIDTH = 16  # samples on each side: content up to 0.4 of the sampling rate passes within 0.1 %
KAISER_BETA = 8.0  # stop band near −80 dB
PHASES = 2048  # tabulated positions between two samples; linear between them leaves an error near 1e-6
BLOCK = 32_768  # wanted samples worked on at once, to keep memory small


def _table(half: int, cutoff: float) -> Samples:
    """Kernel weights, shape (PHASES + 1, 2·half): row = fraction between two samples, column = neighbour."""
    fraction = np.arange(PHASES + 1) / PHASES
    distance = fraction[:, None] - np.arange(-half + 1, half + 1)[None, :]
    shape = np.sqrt(np.clip(1.0 - (distance / half) ** 2, 0.0, None))
    kernel = cutoff * np.sinc(cutoff * distance) * np.i0(KAISER_BETA * shape)
    return np.asarray(kernel / np.sum(kernel, axis=1, keepdims=True))  # a constant stays that constant


def resample(values: Samples, positions: Samples, spacing: float = 1.0) -> Samples:
    """Values of an evenly sampled signal at fractional sample positions, shape of `positions`.

    `positions` counts samples of `values` from 0, and must lie within 0 … len − 1. `spacing` is the distance between
    wanted samples in given samples; above 1 the record is low-passed first. Ends are continued by point reflection.
    """
    stretch = max(1.0, spacing)
    half = int(np.ceil(HALF_WIDTH * stretch))
    table = _table(half, 1.0 / stretch)
    padded = np.pad(values, half, mode="reflect", reflect_type="odd")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half)
    found = np.empty(len(positions))
    for start in range(0, len(positions), BLOCK):
        place = positions[start : start + BLOCK]
        whole = np.clip(np.floor(place).astype(np.int64), 0, len(values) - 2)
        phase = np.clip((place - whole) * PHASES, 0.0, PHASES)
        row = np.minimum(phase.astype(np.int64), PHASES - 1)
        share = (phase - row)[:, None]
        weights = table[row] * (1.0 - share) + table[row + 1] * share
        found[start : start + BLOCK] = np.einsum("ij,ij->i", windows[whole + 1], weights)
    return found


def bridge(values: Samples, good: Mask) -> Samples:
    """Values with each run of bad samples replaced by a monotone cubic between its good neighbours.

    Piecewise cubic Hermite with the slopes of Fritsch & Butland 1984 (what is called PCHIP), on even spacing. The
    first and the last sample must be good.
    """
    bridged = values.copy()
    kept = np.flatnonzero(good)
    width = np.diff(kept).astype(float)
    rise = np.diff(values[kept]) / width
    for left in np.flatnonzero(width > 1.0).tolist():
        first, last = int(kept[left]), int(kept[left + 1])
        slope_in = _slope(width, rise, left) if left > 0 else rise[left]
        slope_out = _slope(width, rise, left + 1) if left + 1 < len(rise) else rise[left]
        span = float(last - first)
        u = np.arange(1, last - first) / span
        bridged[first + 1 : last] = (
            values[first] * (1.0 + 2.0 * u) * (1.0 - u) ** 2 + values[last] * u * u * (3.0 - 2.0 * u)
            + span * u * (1.0 - u) * (slope_in * (1.0 - u) - slope_out * u)
        )
    return bridged


def _slope(width: Samples, rise: Samples, knot: int) -> float:
    """Weighted harmonic mean of the secants on both sides of a knot; 0 at an extremum."""
    before, after = float(rise[knot - 1]), float(rise[knot])
    if before * after <= 0.0:
        return 0.0
    near, far = 2.0 * width[knot] + width[knot - 1], width[knot] + 2.0 * width[knot - 1]
    return float((near + far) / (near / before + far / after))


def widened(bad: Mask, reach: int) -> Mask:
    """A mask of bad samples with `reach` more on each side of each."""
    if reach <= 0 or not np.any(bad):
        return bad.copy()
    counts = np.concatenate([[0], np.cumsum(bad)])
    index = np.arange(len(bad))
    return np.asarray(counts[np.minimum(index + reach + 1, len(bad))] - counts[np.maximum(index - reach, 0)] > 0)
