"""Beats in an arterial pressure: where each begins, and its systolic, mean and diastolic pressure.

A beat shows as an upstroke that is both high and steep. For every moment the rise within the last 0.13 s (the sum of
its positive slopes, after Zong, Heldt, Moody & Mark 2003) is multiplied by the steepest slope within it, and the root
taken: a dicrotic wave, slower and lower, stays well below an upstroke. An upstroke must be an ample share of the
largest one nearby and must rise by some mmHg at all; its foot is the onset. 30–220 beats/min.
"""
from __future__ import annotations

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
    values = np.asarray(pressure_mmHg, dtype=np.float64)
    if not np.all(np.isfinite(values)):
        first = int(np.argmin(np.isfinite(values)))
        raise InputError(f"pressure for beat detection: sample {first} = {values[first]:g} is not a finite number")
    factor = max(1, round(1.0 / (WORKING_Hz * period_s)))
    step_s = factor * period_s
    if len(values) * period_s < 3.0 * UPSTROKE_s:
        return np.empty(0, np.int64)
    coarse = _smoothed(values[: len(values) // factor * factor].reshape(-1, factor).mean(axis=1), SMOOTHING_s / step_s)
    slope = np.gradient(coarse) / step_s
    strength, rise = _strength(slope, step_s)
    peaks = _candidates(strength, rise, slope, step_s)
    feet = [_foot(values, slope, p, step_s, factor) for p in peaks.tolist()]
    return np.unique(np.array([f for f in feet if f is not None], np.int64))


def _smoothed(values: Samples, deviation: float) -> Samples:
    """Gaussian smoothing, the ends continued by reflection; `deviation` in samples."""
    reach = max(1, int(np.ceil(4.0 * deviation)))
    weights = np.exp(-0.5 * (np.arange(-reach, reach + 1) / max(deviation, 1e-9)) ** 2)
    padded = np.pad(values, reach, mode="reflect" if len(values) > reach else "edge")
    return np.convolve(padded, weights / np.sum(weights), mode="valid")


def _strength(slope: Samples, step_s: float) -> tuple[Samples, Samples]:
    """√(rise · steepest slope · UPSTROKE_s) and the rise [both mmHg] within UPSTROKE_s around every sample."""
    width = max(2, round(UPSTROKE_s / step_s))
    up = np.pad(np.maximum(slope, 0.0), (width // 2, width - 1 - width // 2))
    sums = np.concatenate([[0.0], np.cumsum(up)])
    rise = (sums[width:] - sums[:-width]) * step_s
    steepest = np.max(np.lib.stride_tricks.sliding_window_view(up, width), axis=1)
    return np.sqrt(rise * steepest * UPSTROKE_s), rise


def _candidates(strength: Samples, rise: Samples, slope: Samples, step_s: float) -> Indices:
    """Samples of the steepest slope of each upstroke that counts."""
    nearby, usual = _sizes(strength, step_s)
    noise = float(np.percentile(rise, 5.0))  # rises during run-off are noise
    needed = np.maximum(NEARBY_SHARE * nearby, USUAL_SHARE * usual)
    enough = (strength >= needed) & (rise >= max(LEAST_RISE_mmHg, NOISE_FACTOR * noise)) & (slope > 0.0)
    reach = max(1, round(0.5 * CLOSEST_s / step_s))
    windows = np.lib.stride_tricks.sliding_window_view(np.pad(slope, reach, constant_values=-np.inf), 2 * reach + 1)
    tops = np.flatnonzero(enough & (slope >= np.max(windows, axis=1)))
    kept: list[int] = []
    for top in tops.tolist():
        if kept and (top - kept[-1]) * step_s < CLOSEST_s:
            if slope[top] > slope[kept[-1]]:
                kept[-1] = top
        else:
            kept.append(top)
    return np.array(kept, np.int64)


def _sizes(strength: Samples, step_s: float) -> tuple[Samples, Samples]:
    """The largest strength nearby and the usual largest one further around, at every sample."""
    block = max(1, round(0.1 / step_s))
    blocks = -(-len(strength) // block)
    tops = np.max(np.pad(strength, (0, blocks * block - len(strength))).reshape(blocks, block), axis=1)
    near, far = round(NEARBY_s / (block * step_s)), round(USUAL_s / (block * step_s))
    slide = np.lib.stride_tricks.sliding_window_view
    largest = np.max(slide(np.pad(tops, near), 2 * near + 1), axis=1)
    usual = np.median(slide(np.pad(largest, far, mode="edge"), 2 * far + 1), axis=1)
    each = np.arange(len(strength)) // block
    return largest[each], usual[each]


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
