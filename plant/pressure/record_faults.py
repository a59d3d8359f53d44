"""Where a recorded pressure is not an artery's: open to air, flushed, frozen, clipped, pulseless, shaken or stepped.

Each detector takes evenly sampled pressure and gives stretches of it. Limits are our own, set on recorded pressures
with faults in them (`tests/outside/plant/test_beats_marked.py`); what a flush or a damped line looks like is common
practice.
"""
from __future__ import annotations

from typing import NamedTuple

import numpy as np

from plant.pressure.resample import Mask, Samples, widened

PULSE_WINDOW_s = 2.0  # holds one beat at least, down to 30/min
AROUND_s = 15.0  # on each side, for what is usual
LASTS_s = 0.6  # longer than any systole stands above the usual systolic pressure
ABOVE, BELOW = 0.3, 0.5  # of the usual pulse, beyond usual systolic and diastolic pressure
AIR_mmHg = 15.0  # of zero: a line open to air, or one being zeroed
FROZEN_s = 0.5  # of equal samples
CLIPPED_s = 0.02  # of equal samples at an end of the record's range
CLIP_ENTRY = 2.0  # resolutions that the step into a clipped run has at least: a peak is entered slowly
LEAST_CLIPS = 3
LEAST_PULSE_mmHg, LEAST_PULSE_SHARE = 8.0, 0.25  # of the record's usual pulse
COLLAPSED_s = 2.0
SMOOTH_s, SHAKEN_WINDOW_s = 0.025, 1.2  # deviation of the Gaussian; holds an upstroke down to 50/min
SHAKEN_TIMES, SHAKEN_SHARE = 2.2, 0.03  # of the usual roughness; of the usual pulse
STEP_SHARE, LEAST_STEP_mmHg = 0.25, 15.0  # of the usual pulse


class Stretch(NamedTuple):
    """Samples first … last (inclusive) with one fault, and the pressure or size that tells of it [mmHg]."""

    kind: str
    first: int
    last: int
    mmHg: float


class Usual(NamedTuple):
    """What is usual in a record [mmHg]."""

    systolic: Samples  # (n,) within AROUND_s
    diastolic: Samples  # (n,)
    swing: Samples  # (n,) highest minus lowest within PULSE_WINDOW_s around a sample
    pulse_mmHg: float  # median swing of those samples that have any pulse


def usual(values: Samples, step_s: float) -> Usual:
    """Local systolic and diastolic pressure, and the swing of the pulse, of evenly sampled pressure."""
    from scipy.ndimage import maximum_filter1d, minimum_filter1d

    width = max(3, round(PULSE_WINDOW_s / step_s))
    high, low = maximum_filter1d(values, width), minimum_filter1d(values, width)
    swing = high - low
    pulsing = swing[swing >= LEAST_PULSE_mmHg]
    pulse = float(np.median(pulsing)) if len(pulsing) else 0.0
    return Usual(_local_median(high, step_s), _local_median(low, step_s), swing, pulse)


def _local_median(values: Samples, step_s: float) -> Samples:
    """Running median over 2 · AROUND_s, worked out every half a second and joined by straight lines."""
    from scipy.ndimage import median_filter

    every = max(1, round(0.5 / step_s))
    picked = values[every // 2 :: every] if len(values) > every else values[:1]
    size = min(2 * round(AROUND_s / 0.5) + 1, 2 * len(picked) - 1)
    middle = median_filter(picked, size=max(1, size), mode="reflect")
    return np.asarray(np.interp(np.arange(len(values)), np.arange(len(picked)) * every + every // 2, middle))


def runs(mask: Mask, least: int = 1) -> list[tuple[int, int]]:
    """First and last sample (inclusive) of every run of at least `least` true samples."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a >= least]


def _long(mask: Mask, least: int) -> Mask:
    """The mask without its shorter runs."""
    kept = np.zeros(len(mask), bool)
    for first, last in runs(mask, least):
        kept[first : last + 1] = True
    return kept


def levels(values: Samples, known: Usual, step_s: float) -> list[Stretch]:
    """Stretches that stay above the usual systolic or below the usual diastolic pressure longer than a pulse can."""
    least = max(2, round(LASTS_s / step_s))
    found = []
    above = values > known.systolic + np.maximum(ABOVE * known.pulse_mmHg, LEAST_PULSE_mmHg)
    for first, last in runs(above, least):
        found.append(Stretch("flush", first, last, float(np.median(values[first : last + 1]))))
    air = np.abs(values) < AIR_mmHg
    below = values < known.diastolic - max(BELOW * known.pulse_mmHg, LEAST_PULSE_mmHg)
    for first, last in runs(air | below, least):
        level = float(np.median(values[first : last + 1]))
        found.append(Stretch("open to air" if abs(level) < AIR_mmHg else "pressure lost", first, last, level))
    return found


def frozen(values: Samples, step_s: float) -> list[Stretch]:
    """Stretches of equal samples longer than a quantised pulse ever has."""
    still = np.diff(values) == 0.0
    return [
        Stretch("frozen", first, last + 1, float(values[first]))
        for first, last in runs(still, max(2, round(FROZEN_s / step_s)))
    ]


def resolution(values: Samples) -> float:
    """The smallest step between neighbours [mmHg]; 0 when nothing ever changes."""
    steps = np.abs(np.diff(values))
    steps = steps[steps > 1e-9]
    return float(np.percentile(steps, 0.1)) if len(steps) else 0.0


def clipped(values: Samples, step_s: float) -> list[Stretch]:
    """Runs of equal samples at either end of the record's range, where several of them are entered in a jump."""
    least = max(2, round(CLIPPED_s / step_s))
    entry = CLIP_ENTRY * resolution(values)
    found: list[Stretch] = []
    for limit in (float(np.max(values)), float(np.min(values))):
        here = runs(values == limit, least)
        sharp = sum(abs(values[max(0, first - 1)] - limit) >= 0.99 * entry for first, _ in here)
        found += [Stretch("clipped", first, last, limit) for first, last in here] if sharp >= LEAST_CLIPS else []
    return found


def collapsed(known: Usual, taken: Mask, step_s: float) -> list[Stretch]:
    """Stretches almost without a pulse, outside those already `taken` by another fault."""
    least = max(LEAST_PULSE_mmHg, LEAST_PULSE_SHARE * known.pulse_mmHg)
    return [
        Stretch("pulse collapse", first, last, float(np.median(known.swing[first : last + 1])))
        for first, last in runs((known.swing < least) & ~taken, max(2, round(COLLAPSED_s / step_s)))
    ]


def shaken(values: Samples, known: Usual, taken: Mask, step_s: float) -> list[Stretch]:
    """Stretches with far more quick movement than the record's own upstrokes have: a line that was knocked or rings."""
    from scipy.ndimage import gaussian_filter1d, uniform_filter1d

    quick = values - gaussian_filter1d(values, SMOOTH_s / step_s)
    width = max(3, round(SHAKEN_WINDOW_s / step_s))
    rough = np.sqrt(np.maximum(uniform_filter1d(quick * quick, width), 0.0))
    free = rough[~taken]
    if not len(free):
        return []
    limit = max(SHAKEN_TIMES * float(np.median(free)), SHAKEN_SHARE * known.pulse_mmHg)
    return [
        Stretch("shaken", first, last, float(np.max(rough[first : last + 1])))
        for first, last in runs(~_long(~((rough > limit) & ~taken), width))
    ]


def steps(known: Usual, values: Samples, taken: Mask, step_s: float) -> list[Stretch]:
    """Moments at which systolic and diastolic pressure jump together: a transducer that was moved, or zeroed again.

    Highest and lowest pressure of the two seconds after a moment are compared with those of the two before it.
    """
    from scipy.ndimage import maximum_filter1d, minimum_filter1d

    width = max(3, round(PULSE_WINDOW_s / step_s))
    if len(values) <= 2 * width:
        return []
    half = width // 2
    high, low = (f(values, width)[half : len(values) - half] for f in (maximum_filter1d, minimum_filter1d))
    rise_high, rise_low = high[width:] - high[:-width], low[width:] - low[:-width]
    same = np.sign(rise_high) == np.sign(rise_low)
    size = np.where(same, np.minimum(np.abs(rise_high), np.abs(rise_low)), 0.0)
    at = np.arange(len(size)) + half + half  # the two windows meet here
    needed = max(STEP_SHARE * known.pulse_mmHg, LEAST_STEP_mmHg)
    found = []
    for first, last in runs((size > needed) & ~widened(taken, width)[at]):
        top = first + int(np.argmax(size[first : last + 1]))
        found.append(Stretch("step", int(at[top]), int(at[top]), float(np.sign(rise_low[top]) * size[top])))
    return found
