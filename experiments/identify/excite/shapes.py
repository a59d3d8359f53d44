"""Shapes of commands: what is played. All are pure functions of a sampling period and give arrays of commands.

A multisine has odd lines of one fundamental, random phases, and repeats (Pintelon & Schoukens, System Identification,
2012): even distortion then falls on even lines, and what does not repeat is noise.
"""
from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]


def steps(levels: Sequence[tuple[float, float]], period_s: float) -> Samples:
    """A staircase: (level, seconds) one after the other."""
    return np.concatenate([np.full(max(round(seconds / period_s), 1), float(level)) for level, seconds in levels])


def triangle(low: float, high: float, seconds: float, period_s: float) -> Samples:
    """From zero up to `high`, down to `low` and back to zero, all at one pace."""
    corners = np.array([0.0, high, low, 0.0])
    way = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(corners)))])
    times = np.arange(round(seconds / period_s)) * period_s
    return np.asarray(np.interp(times / seconds * way[-1], way, corners), float)


def chirp(low_Hz: float, high_Hz: float, seconds: float, period_s: float) -> Samples:
    """A sine of amplitude 1 whose frequency rises exponentially (common practice)."""
    times = np.arange(round(seconds / period_s)) * period_s
    rate = np.log(high_Hz / low_Hz) / seconds
    return np.asarray(np.sin(2.0 * np.pi * low_Hz * (np.exp(rate * times) - 1.0) / rate), float)


def multisine_lines(base_Hz: float, high_Hz: float, count: int) -> NDArray[np.int64]:
    """Odd multiples of the fundamental, about logarithmic in frequency, never more than `count`."""
    highest = int(high_Hz / base_Hz)
    wanted = np.geomspace(1.0, max(highest, 1), count)
    odd = np.unique(2 * np.round((wanted - 1.0) / 2.0).astype(np.int64) + 1)
    return np.asarray(odd[odd <= highest], np.int64)


def multisine(
    lines: NDArray[np.int64], base_Hz: float, periods: int, period_s: float, seed: int
) -> Samples:
    """Sines of equal amplitude on the given multiples, with random phases, scaled to a peak of 1, repeated."""
    count = round(1.0 / (base_Hz * period_s))
    random = np.random.Generator(np.random.PCG64(seed))
    best = np.zeros(count)
    lowest = np.inf
    for _ in range(20):  # of some draws the one that is flattest: more power at the same peak
        spectrum = np.zeros(count // 2 + 1, complex)
        spectrum[lines] = np.exp(2j * np.pi * random.random(len(lines)))
        wave = np.fft.irfft(spectrum, count)
        crest = float(np.max(np.abs(wave)) / np.sqrt(np.mean(wave * wave)))
        if crest < lowest:
            lowest, best = crest, wave / np.max(np.abs(wave))
    return np.tile(best, periods)
