"""The beat that a clamp recorded, and where its copies lie in a hold of cuff pressure.

Beats of a reading are those of `plant.pressure.beats`, placed by their steepest rise. The recorded beat is the mean
of whole beats, each with the straight line from its own foot to the next one taken out: what respiration does within
a beat. In a hold the artery distorts the beat, so each upstroke is shifted until the distorted copy explains the
light around it best.
"""
from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibrate.protocol import Samples
from plant.pressure.beats import UPSTROKE_s, detect_beats

STEEP_s = 0.04  # over which steepness is read
BEFORE_s = 0.12  # a beat starts this long before its steepest rise: its foot or a little before
ALIKE = 0.25  # relative difference from the median interval, up to which a beat counts as regular
LONGEST = 1.6  # the recorded beat is drawn on so many times its length, for longer intervals in a hold
TAIL_s = 0.08  # the slope of its end is read over this
SHIFTS_s = np.linspace(-0.09, 0.09, 19)
SHIFT_BELIEF_s, SHIFT_WEIGHT = 0.05, 0.02  # loss of correlation at which a shift of this size is believed
FEWEST_BINS = 8  # of a beat in view, below which it is not shifted


class Beat(NamedTuple):
    """A recorded beat and what went with it."""

    shape_mmHg: Samples  # from its start on, tick by tick; mean 0 over one interval
    period_s: float  # tick
    interval_s: float  # from beat to beat
    level_mmHg: Samples  # mean pressure of each beat of the recording
    middle_s: Samples  # and when, from the start of the recording


def moving_mean(signal: Samples, ticks: int) -> Samples:
    """Centred moving mean of the same length; ends lean to the mean of all."""
    middle = float(np.mean(signal))
    return np.asarray(middle + np.convolve(signal - middle, np.full(ticks, 1.0 / ticks), "same"))


def upstrokes(signal: Samples, period_s: float, apart_s: float, share: float) -> list[int]:
    """Ticks of the steepest rises, in order: at least so far apart and so steep as a share of the steepest."""
    width, half = max(round(STEEP_s / period_s), 1), max(round(0.5 * STEEP_s / period_s), 1)
    smooth = moving_mean(signal, width)
    gain = np.zeros(len(signal))
    gain[half:-half] = smooth[2 * half :] - smooth[: -2 * half]
    gain[: width + half] = gain[-(width + half) :] = 0.0
    apart, found = round(apart_s / period_s), list[int]()
    left = gain.copy()
    top = float(np.max(gain, initial=0.0))
    while len(found) < 40:
        at = int(np.argmax(left))
        if left[at] <= 0.0 or left[at] < share * top:
            break
        if width + half < at < len(gain) - width - half - 1:  # at an edge the true one may lie beyond
            found.append(at)
        left[max(0, at - apart) : at + apart] = -1.0
    return sorted(found)


def steepest(reading_mmHg: Samples, period_s: float) -> list[int]:
    """Ticks of the steepest rise over STEEP_s of each beat of a reading, in order."""
    half, within = max(round(0.5 * STEEP_s / period_s), 1), round(UPSTROKE_s / period_s)
    smooth = moving_mean(reading_mmHg, max(round(STEEP_s / period_s), 1))
    found = []
    for onset in detect_beats(reading_mmHg, period_s).tolist():
        centre = np.arange(max(onset, half), min(onset + within, len(smooth) - 1 - half) + 1)
        if len(centre) > half:
            found.append(int(centre[np.argmax(smooth[centre + half] - smooth[centre - half])]))
    return found


def record_beat(reading_mmHg: Samples, period_s: float) -> Beat | None:
    """The beat of a recording, or None when it holds no whole one."""
    before = round(BEFORE_s / period_s)
    ticks = [at for at in steepest(reading_mmHg, period_s) if at >= before]
    if len(ticks) < 2:
        return None
    usual = float(np.median(np.diff(ticks)))
    pairs = [(a, b) for a, b in pairwise(ticks) if abs(b - a - usual) <= ALIKE * usual]
    if not pairs:
        pairs = list(pairwise(ticks))
        usual = float(np.mean(np.diff(ticks)))
    shortest, half = min(b - a for a, b in pairs), max(round(0.02 / period_s), 1)
    shape, levels, middles = np.zeros(shortest), [], []
    for a, b in pairs:
        piece = reading_mmHg[a - before : b - before]
        first, last = (float(np.mean(reading_mmHg[max(k - before - half, 0) : k - before + half])) for k in (a, b))
        levels.append(float(np.mean(piece)))
        middles.append((0.5 * (a + b) - before) * period_s)
        straight = piece - (last - first) * (np.arange(len(piece)) / len(piece) - 0.5)
        shape += (straight - np.mean(straight))[:shortest] / len(pairs)
    over = round(TAIL_s / period_s)
    slope = (shape[-1] - shape[-1 - over]) / over
    tail = shape[-1] + slope * np.arange(1, max(int(LONGEST * usual) - shortest, 0) + 1)
    shape = np.concatenate([shape, np.maximum(tail, shape[-1] - 0.15 * np.ptp(shape))])
    shape -= np.mean(shape[: int(usual)])
    return Beat(shape, period_s, usual * period_s, np.array(levels), np.array(middles))


def lay(beat: Beat, time_s: Samples, upstroke_s: Samples) -> tuple[Samples, Samples]:
    """(pressure about its level [mmHg], its rate [mmHg/s]) at given times, with beats at given upstrokes."""
    starts = list(upstroke_s - BEFORE_s)
    while starts[-1] + beat.interval_s < time_s[-1]:
        starts.append(starts[-1] + beat.interval_s)
    while starts[0] > time_s[0]:
        starts.insert(0, starts[0] - beat.interval_s)
    since = time_s - np.array(starts)[np.searchsorted(starts, time_s, side="right") - 1]
    grid = np.arange(len(beat.shape_mmHg)) * beat.period_s
    rate = np.gradient(beat.shape_mmHg, beat.period_s)
    return np.interp(since, grid, beat.shape_mmHg), np.interp(since, grid, rate)


Law = Callable[[Samples, NDArray[np.bool_]], Samples]  # of pressures about their level, at the bins chosen


def align(beat: Beat, upstroke_s: Samples, time_s: Samples, depth: Samples, law: Law) -> Samples:
    """Upstrokes, each shifted to where the law of the beat correlates best with the depth around it."""
    grid = np.arange(len(beat.shape_mmHg)) * beat.period_s
    found = upstroke_s.copy()
    for k, at in enumerate(upstroke_s):
        end = at + 0.6 * beat.interval_s
        if k + 1 < len(upstroke_s):
            end = min(end, upstroke_s[k + 1] - BEFORE_s)
        near = (time_s >= at - 0.1) & (time_s <= end)
        if np.count_nonzero(near) < FEWEST_BINS:
            continue
        since = time_s[near] - (at + SHIFTS_s[:, None] - BEFORE_s)
        since = np.where(since < 0.0, since + beat.interval_s, since)
        copies = law(np.interp(since, grid, beat.shape_mmHg), near)
        line = time_s[near] - np.mean(time_s[near])
        line /= np.sqrt(line @ line)
        copies = copies - np.mean(copies, axis=1, keepdims=True)
        copies = copies - np.outer(copies @ line, line)
        seen = depth[near] - np.mean(depth[near])
        seen = seen - line * (line @ seen)
        size = np.sqrt(np.sum(copies * copies, axis=1) * (seen @ seen))
        likeness = (copies @ seen) / np.maximum(size, 1e-30) - SHIFT_WEIGHT * (SHIFTS_s / SHIFT_BELIEF_s) ** 2
        best = int(np.argmax(likeness))
        found[k] += SHIFTS_s[best]
        if 0 < best < len(SHIFTS_s) - 1:
            a, b, c = likeness[best - 1 : best + 2]
            if a - 2.0 * b + c < 0.0:
                found[k] += 0.5 * (a - c) / (a - 2.0 * b + c) * (SHIFTS_s[1] - SHIFTS_s[0])
    return found
