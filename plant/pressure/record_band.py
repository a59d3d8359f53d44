"""How much of the frequency range a recorded pressure holds: its own cut-off, and the grid it was made up from.

A pulse's spectrum falls by some 20 to 35 dB an octave until it meets the noise (measured on some 50 human recordings).
A fall of 40 dB over a whole octave is a filter's. A record with fewer true samples than it shows is the interpolation,
straight or held, of every k-th of them. What a gentle filter takes (a Gaussian, one pole) looks like a softer pulse and
cannot be told from one; nor can what a filter takes from under the noise.
"""
from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from plant.pressure.resample import Mask, Samples

SEGMENT_s = 4.0  # of one periodogram, half overlapping
LOWEST_Hz = 6.0  # the middle of the first octave looked at; below lie single harmonics
EXCERPT_s = 60.0  # enough to see a grid
FALL_dB = 40.0  # over an octave
FULLEST = 0.46  # of the sampling rate, where the search ends
SPREAD = 0.06  # each side, of the frequency; and at least the pulse rate's worth, so that a band holds a harmonic
LOWEST_GRID_Hz, HIGHEST_GRID_Hz = 10.0, 62.5
GRID_ERROR = 0.002  # of the pulsation's rms: a pulse between two samples of 62.5 Hz is off by more
DYNAMICS_dB = 110.0  # below the strongest band nothing is looked at


def cut_off_Hz(values: Samples, good: Mask, step_s: float, pulse_Hz: float) -> float:
    """Where evenly sampled pressure is cut off [Hz]: half the sampling rate, or less.

    The middle of the first octave over which the spectrum falls by FALL_dB (filters of 12.5, 20 and 25 Hz put over 50
    recordings are seen at 12, 17 and 20 Hz in the median), or half the rate of the grid that the samples are
    interpolated from. Without four good seconds together only the sampling rate speaks.
    """
    return min(0.5 / step_s, 0.5 * grid_Hz(values, good, step_s), _filter_Hz(values, good, step_s, pulse_Hz))


def _segments(values: Samples, good: Mask, size: int) -> Iterator[Samples]:
    """Half-overlapping pieces that are good throughout, straight line removed."""
    bad = np.concatenate([[0], np.cumsum(~good)])
    ramp = np.linspace(-1.0, 1.0, size)
    for first in range(0, len(values) - size + 1, size // 2):
        if bad[first + size] == bad[first]:
            piece = values[first : first + size] - np.mean(values[first : first + size])
            yield piece - ramp * (np.dot(piece, ramp) / np.dot(ramp, ramp))


def _filter_Hz(values: Samples, good: Mask, step_s: float, pulse_Hz: float) -> float:
    size = max(8, round(SEGMENT_s / step_s))
    window = np.hanning(size)
    found = [np.abs(np.fft.rfft(piece * window)) ** 2 for piece in _segments(values, good, size)]
    highest = FULLEST / step_s
    if not found or highest < LOWEST_Hz * 2.0**0.5:
        return math.inf
    spectrum = np.mean(found, axis=0)
    width = 1.0 / (size * step_s)
    centre = np.geomspace(LOWEST_Hz / 2.0**0.5, highest, 200)
    half = np.maximum(0.6 * pulse_Hz, SPREAD * centre)
    first = np.clip(np.rint((centre - half) / width).astype(int), 0, len(spectrum) - 2)
    last = np.clip(np.rint((centre + half) / width).astype(int) + 1, first + 1, len(spectrum))
    sums = np.concatenate([[0.0], np.cumsum(spectrum)])
    band = (sums[last] - sums[first]) / (last - first)
    level = 10.0 * np.log10(np.maximum(band, 10.0 ** (-DYNAMICS_dB / 10.0) * np.max(band) + 1e-300))
    octave = centre[(centre * 2.0 <= highest)]
    fall = np.interp(np.log(octave), np.log(centre), level) - np.interp(np.log(2.0 * octave), np.log(centre), level)
    steep = np.flatnonzero(fall >= FALL_dB)
    return float(2.0**0.5 * octave[steep[0]]) if len(steep) else math.inf


def grid_Hz(values: Samples, good: Mask, step_s: float) -> float:
    """Rate of the coarser grid that the samples are held or joined by straight lines from [Hz]; inf when none shows.

    Only whole ratios of the two rates are looked for, the coarsest first, in the first EXCERPT_s.
    """
    shown = slice(0, max(8, round(EXCERPT_s / step_s)))
    values, good = values[shown], good[shown]
    rms = float(np.std(values[good])) if np.any(good) else 0.0
    finest, coarsest = math.ceil(1.0 / (HIGHEST_GRID_Hz * step_s)), math.floor(1.0 / (LOWEST_GRID_Hz * step_s))
    for every in range(min(coarsest, len(values) // 4), max(finest, 2) - 1, -1):
        if rms > 0.0 and _grid_error(values, good, every) < GRID_ERROR * rms:
            return 1.0 / (every * step_s)
    return math.inf


def _grid_error(values: Samples, good: Mask, every: int) -> float:
    """Rms [mmHg] by which good samples differ from every `every`-th one, joined or held, whichever is less."""
    bends = np.abs(np.diff(values, 2))
    first = (_strongest(bends, every) + 1) % every  # straight lines bend at their knots
    knots = np.arange(first, len(values), every)
    inside = slice(int(knots[0]), int(knots[-1]))
    straight = np.interp(np.arange(inside.start, inside.stop), knots, values[knots])
    errors = [_rms((values[inside] - straight)[good[inside]])]
    first = (_strongest(np.abs(np.diff(values)), every) + 1) % every  # held samples change at theirs
    knots = np.arange(first, len(values), every)
    inside = slice(int(knots[0]), int(knots[-1]))
    errors.append(_rms((values[inside] - np.repeat(values[knots[:-1]], every))[good[inside]]))
    return min(errors)


def _strongest(sizes: Samples, every: int) -> int:
    """Which of `every` interleaved series is the largest in sum."""
    whole = len(sizes) // every * every
    return int(np.argmax(sizes[:whole].reshape(-1, every).sum(axis=0)))


def _rms(values: Samples) -> float:
    return float(np.sqrt(np.mean(values * values))) if len(values) else math.inf
