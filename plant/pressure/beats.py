"""Beats in an arterial pressure: where each begins, and its systolic, mean and diastolic pressure.

A beat shows as an upstroke that is both high and steep. For every moment the rise within the last 0.13 s (the sum of
its positive slopes, after Zong, Heldt, Moody & Mark 2003) is multiplied by the steepest slope within it, and the root
taken: a dicrotic wave, slower and lower, stays well below an upstroke. An upstroke must be an ample share of the
largest one nearby and must rise by some mmHg at all; its foot is the onset. 30–220 beats/min. A stream of samples
gives the bits of the whole record.
"""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from plant.errors import InputError

Samples = NDArray[np.float64]
Indices = NDArray[np.int64]

WORKING_Hz = 200.0  # ticks are averaged down to about this
SMOOTHING_s = 0.012  # standard deviation of the Gaussian before the slope
UPSTROKE_s = 0.13  # longest rise that counts as one
NEARBY_s = 1.1  # on each side; at 30/min this reaches from a dicrotic wave to its own upstroke
USUAL_s = 6.0  # on each side, for the usual size of an upstroke
NEARBY_SHARE, USUAL_SHARE = 0.24, 0.2  # of the largest nearby, of the usual one; dicrotic waves stay below 0.2
LEAST_RISE_mmHg = 4.0
NOISE_FACTOR = 4.0  # an upstroke must rise by so many times the usual rise of the noise
CLOSEST_s = 0.2  # 220/min leaves 0.27 s
BLOCK_s = 0.1  # sizes are told for blocks of this length
QUIET_RANK = 6  # of the lowest rises of the 121 blocks around, the one that stands for noise: 5 %
REACH_s = 8.0  # on each side, beyond which nothing bears on a beat: USUAL_s + NEARBY_s and some blocks
BATCH = 10  # blocks of a stream that are worked on together
AT_ONCE = 4096  # blocks whose surroundings are sorted together, to keep memory small
FOOT_SLOPE = 0.1  # of the steepest slope: below it, walking back, the foot is reached


class BeatValues(NamedTuple):
    """Per-beat pressures [mmHg], each of shape (beats,), a beat lasting from one onset to the next."""

    systolic_mmHg: Samples  # maximum
    mean_mmHg: Samples  # area by duration
    diastolic_mmHg: Samples  # minimum


def detect_beats(pressure_mmHg: Samples, period_s: float) -> Indices:
    """Onsets of the beats in a pressure sampled every `period_s`, as rising sample numbers.

    None are found where there is no pulsation. Raises InputError for values that are not finite.
    """
    finder = BeatFinder(period_s)
    return np.concatenate([finder.push(pressure_mmHg), finder.finish()])


class BeatFinder:
    """The same beats from a stream: pieces of any length in, onsets out as soon as nothing to come can change them.

    That is REACH_s later. Every number is worked out from samples within REACH_s around it, in an order that does not
    depend on where a piece begins, so that pieces and the whole give the same bits.
    """

    def __init__(self, period_s: float) -> None:
        """Take samples every `period_s` [s]."""
        self._factor = max(1, round(1.0 / (WORKING_Hz * period_s)))
        self._step_s = self._factor * period_s
        self._block = max(1, round(BLOCK_s / self._step_s))
        self._reach = math.ceil(REACH_s / (self._block * self._step_s)) * self._block  # coarse samples, whole blocks
        self._held = np.empty(0)  # samples from number `_first` on
        self._first = 0  # multiple of a block's samples
        self._done = 0  # coarse samples whose upstrokes have been given
        self._last = -1  # onset given last

    @property
    def latency_s(self) -> float:
        """Time [s] after which an onset is given at the latest."""
        return (self._reach + (BATCH + 1) * self._block) * self._step_s

    def push(self, pressure_mmHg: Samples) -> Indices:
        """Take more samples; the onsets that they settle, counted from the first sample of the stream.

        Raises InputError for values that are not finite.
        """
        values = np.asarray(pressure_mmHg, dtype=np.float64)
        if not np.all(np.isfinite(values)):
            first = int(np.argmin(np.isfinite(values)))
            raise InputError(f"pressure for beat detection: sample {self._first + len(self._held) + first} = "
                             f"{values[first]:g} is not a finite number")
        self._held = np.concatenate([self._held, values])
        coarse = (self._first + len(self._held)) // self._factor
        end = (coarse - self._reach) // self._block * self._block
        return self._settle(end, False) if end >= self._done + BATCH * self._block else np.empty(0, np.int64)

    def finish(self) -> Indices:
        """The onsets that are left, now that the stream has ended."""
        return self._settle((self._first + len(self._held)) // self._factor, True)

    def _settle(self, end: int, ends: bool) -> Indices:
        """Onsets of upstrokes at coarse samples from those done up to `end`."""
        factor, first = self._factor, self._first // self._factor
        if (first * factor + len(self._held)) * self._step_s < 3.0 * UPSTROKE_s * factor:
            return np.empty(0, np.int64)
        stop = len(self._held) if ends else (end - first + self._reach) * factor
        found = _onsets(self._held[:stop], factor, self._step_s, (self._done - first, end - first))
        found = found[found + self._first > self._last] + self._first
        if len(found):
            self._last = int(found[-1])
        self._done = end
        keep = max((end - self._reach) // self._block * self._block, first)
        self._held = self._held[(keep - first) * factor :]
        self._first = keep * factor
        return np.asarray(found, np.int64)


def _onsets(values: Samples, factor: int, step_s: float, part: tuple[int, int]) -> Indices:
    """Onsets of the upstrokes whose steepest coarse sample lies in a part, in samples of `values`."""
    count = len(values) // factor
    rows = values[: count * factor].reshape(count, factor)
    coarse = rows[:, 0].copy()
    for column in range(1, factor):
        coarse += rows[:, column]
    slope = np.gradient(_smoothed(coarse / factor, SMOOTHING_s / step_s)) / step_s
    strength, rise = _strength(slope, step_s)
    peaks = _candidates(strength, rise, slope, step_s)
    peaks = peaks[(peaks >= part[0]) & (peaks < part[1])]
    feet = [_foot(values, slope, p, step_s, factor) for p in peaks.tolist()]
    return np.unique(np.array([f for f in feet if f is not None], np.int64))


def _weighted(values: Samples, weights: Samples) -> Samples:
    """Moving sum of values by weights, term after term: the same bits wherever the values begin."""
    count = len(values) - len(weights) + 1
    total = values[:count] * weights[0]
    for place in range(1, len(weights)):
        total += values[place : place + count] * weights[place]
    return np.asarray(total)


def _smoothed(values: Samples, deviation: float) -> Samples:
    """Gaussian smoothing, the ends continued by reflection; `deviation` in samples."""
    reach = max(1, int(np.ceil(4.0 * deviation)))
    weights = np.exp(-0.5 * (np.arange(-reach, reach + 1) / max(deviation, 1e-9)) ** 2)
    padded = np.pad(values, reach, mode="reflect" if len(values) > reach else "edge")
    return _weighted(padded, weights / np.sum(weights))


def _strength(slope: Samples, step_s: float) -> tuple[Samples, Samples]:
    """√(rise · steepest slope · UPSTROKE_s) and the rise [both mmHg] within UPSTROKE_s around every sample."""
    width = max(2, round(UPSTROKE_s / step_s))
    up = np.pad(np.maximum(slope, 0.0), (width // 2, width - 1 - width // 2))
    rise = _weighted(up, np.ones(width)) * step_s
    steepest = np.max(np.lib.stride_tricks.sliding_window_view(up, width), axis=1)
    return np.sqrt(rise * steepest * UPSTROKE_s), rise


def _candidates(strength: Samples, rise: Samples, slope: Samples, step_s: float) -> Indices:
    """Samples of the steepest slope of each upstroke that counts; within CLOSEST_s only the steepest of all."""
    nearby, usual, noise = _sizes(strength, rise, step_s)
    needed = np.maximum(NEARBY_SHARE * nearby, USUAL_SHARE * usual)
    enough = (strength >= needed) & (rise >= np.maximum(LEAST_RISE_mmHg, NOISE_FACTOR * noise)) & (slope > 0.0)
    reach = max(1, round(0.5 * CLOSEST_s / step_s))
    windows = np.lib.stride_tricks.sliding_window_view(np.pad(slope, reach, constant_values=-np.inf), 2 * reach + 1)
    tops = np.flatnonzero(enough & (slope >= np.max(windows, axis=1)))
    apart = math.ceil(CLOSEST_s / step_s - 1e-9)
    heights, kept = slope[tops], np.ones(len(tops), bool)
    for further in (1, 2):  # at most two more within CLOSEST_s, as tops are over half of it apart
        near = tops[further:] - tops[:-further] < apart
        kept[:-further] &= ~(near & (heights[further:] > heights[:-further]))
        kept[further:] &= ~(near & (heights[further:] <= heights[:-further]))
    return np.asarray(tops[kept], np.int64)


def _sizes(strength: Samples, rise: Samples, step_s: float) -> tuple[Samples, Samples, Samples]:
    """At every sample the largest strength nearby, the usual largest one further around, and the noise's rise there."""
    block = max(1, round(BLOCK_s / step_s))
    blocks = -(-len(strength) // block)
    padding = (0, blocks * block - len(strength))
    tops = np.max(np.pad(strength, padding).reshape(blocks, block), axis=1)
    lows = np.min(np.pad(rise, padding, mode="edge").reshape(blocks, block), axis=1)
    near, far = round(NEARBY_s / (block * step_s)), round(USUAL_s / (block * step_s))
    slide = np.lib.stride_tricks.sliding_window_view
    largest = np.max(slide(np.pad(tops, near), 2 * near + 1), axis=1)
    usual, noise = np.empty(blocks), np.empty(blocks)
    around, below = np.pad(largest, far, mode="edge"), np.pad(lows, far, mode="edge")
    for first in range(0, blocks, AT_ONCE):
        last = min(first + AT_ONCE, blocks)
        usual[first:last] = np.median(slide(around[first : last + 2 * far], 2 * far + 1), axis=1)
        # run-off has hardly a rise but for noise
        noise[first:last] = np.sort(slide(below[first : last + 2 * far], 2 * far + 1), axis=1)[:, QUIET_RANK]
    each = np.arange(len(strength)) // block
    return largest[each], usual[each], noise[each]


def _foot(values: Samples, slope: Samples, top: int, step_s: float, factor: int) -> int | None:
    """The foot of an upstroke, in samples of `values`: where its slope begins, then the lowest sample around.

    None when the record begins within the upstroke.
    """
    begin = top
    while begin > 0 and slope[begin] > FOOT_SLOPE * slope[top] and (top - begin) * step_s < UPSTROKE_s:
        begin -= 1
    if begin == 0 and slope[0] > FOOT_SLOPE * slope[top]:
        return None
    near = max(1, round(0.015 / step_s)) * factor
    centre = begin * factor + factor // 2
    low, high = max(0, centre - near), min(len(values), centre + near + 1)
    return low + int(np.argmin(values[low:high]))


def beat_values(pressure_mmHg: Samples, onsets: Indices, period_s: float) -> BeatValues:
    """Systolic, mean and diastolic pressure of each beat between two onsets (one beat fewer than onsets).

    Mean is area by duration (ISO 81060-2:2018, second-hand), the area by trapezoids from onset to onset.
    """
    if len(onsets) < 2:
        return BeatValues(np.empty(0), np.empty(0), np.empty(0))
    inside = np.asarray(pressure_mmHg, dtype=np.float64)[: onsets[-1]]
    area = np.concatenate([[0.0], np.cumsum(0.5 * (pressure_mmHg[1:] + pressure_mmHg[:-1]) * period_s)])
    return BeatValues(
        np.maximum.reduceat(inside, onsets[:-1]),
        np.diff(area[onsets]) / (np.diff(onsets) * period_s),
        np.minimum.reduceat(inside, onsets[:-1]),
    )
