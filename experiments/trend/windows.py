"""What readings of an hour are worth, window by window: availability, error and drift of pressure, output, variation.

A window of variation must not hold an interruption; of stretches of length L with gaps g between them a share of
max(0, L − W)/(L + g) of the time has one behind it. Output is referred to the truth of the first minute that was read;
the null predictor holds that value for ever.
"""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.readings.chain.chain import USUAL_ESTIMATOR, Readings
from experiments.readings.fitted.breath_law import shipped_breath
from experiments.readings.output.breath_gain import breath_features, breath_gain
from experiments.readings.output.estimators import ESTIMATORS
from experiments.readings.output.variation import fit_percent
from experiments.trend.hour import Hour, Told

Samples = NDArray[np.float64]
WINDOW_s = 20.0  # of a reading; five breaths at the usual rate
REFERENCE_s = 60.0  # of beats that the reference is of
FEWEST_BEATS = 8
HOUR_s = 3600.0


class Course(NamedTuple):
    """Means over windows, each of shape (windows,); nan where a window has none."""

    time_s: Samples  # middle
    shown: Samples  # share of the window
    whole: NDArray[np.bool_]  # shown without interruption
    mean_mmHg: Samples  # at the upper arm
    true_mean_mmHg: Samples
    output_L_min: Samples  # after the reference
    true_output_L_min: Samples
    variation_percent: Samples  # of stroke volume; of whole windows only
    true_variation_percent: Samples


class Worth(NamedTuple):
    """One schedule in one scenario; errors against the person's truth."""

    scenario: str
    schedule: str
    ended: str
    lost_share: float
    gaps_per_h: float
    looks: int
    availability: float  # share of time that has an unbroken window behind it
    systolic_mmHg: tuple[float, float]  # mean and SD of the error of beats, upper arm
    arm_mean_mmHg: tuple[float, float]
    diastolic_mmHg: tuple[float, float]
    level_drift_mmHg_h: float  # slope of the mean pressure's error
    output_rms_percent: float  # of windows' means, after the reference
    output_drift_percent_h: float
    null_rms_percent: float  # of a constant, the reference
    variation_percent: tuple[float, float]  # mean and SD of the error of stroke volume variation [points]
    course: Course
    shown_s: Samples  # (stretches, 2): begin and end of each unbroken piece of waveform


def worth_of(scenario: str, told: Told, hour: Hour) -> Worth:
    """An hour judged."""
    nan, shown = math.nan, hour.shown_s
    lost = 1.0 - float(np.sum(shown[:, 1] - shown[:, 0])) / hour.seconds
    gaps = max(len(shown) - 1, 0) * HOUR_s / hour.seconds
    have = availability(shown, hour.seconds)
    if hour.found is None:
        pair = nan, nan
        return Worth(scenario, hour.schedule, hour.ended, lost, gaps, hour.looks, have, pair, pair, pair, nan, nan, nan,
                     nan, pair, _empty(), shown)
    found, good = hour.found, hour.found.beats.counts & (hour.beat >= 0)
    error = (found.arm_mmHg - told.arm_mmHg[hour.beat])[good]
    course = course_of(told, hour, found, good)
    off = 100.0 * (course.output_L_min / course.true_output_L_min - 1.0)
    kept = np.flatnonzero(np.isfinite(course.true_output_L_min))
    held = course.true_output_L_min[kept[0]] if len(kept) else nan
    return Worth(
        scenario, hour.schedule, hour.ended, lost, gaps, hour.looks, have, _pair(error[:, 0]), _pair(error[:, 1]),
        _pair(error[:, 2]), slope_h(found.beats.onset_s[good], error[:, 1]), _rms(off), slope_h(course.time_s, off),
        _rms(100.0 * (held / course.true_output_L_min - 1.0)),
        _pair(course.variation_percent - course.true_variation_percent), course, shown)


def availability(shown_s: Samples, seconds: float, window_s: float = WINDOW_s) -> float:
    """Share of a time that has an unbroken window behind it; `shown_s` are begins and ends of stretches."""
    return float(np.sum(np.maximum(shown_s[:, 1] - shown_s[:, 0] - window_s, 0.0))) / seconds


def course_of(told: Told, hour: Hour, found: Readings, good: NDArray[np.bool_]) -> Course:
    """Means over windows that follow on one another."""
    count = int(hour.seconds // WINDOW_s)
    onset, interval = found.beats.onset_s[good], found.beats.interval_s[good]
    place = hour.beat[good]
    strokes, true = found.stroke_mL[good], told.stroke_mL[place]
    first = (onset < onset[0] + REFERENCE_s) & np.isfinite(strokes)
    strokes = strokes * (np.mean(true[first]) / np.mean(strokes[first]))
    number = (onset // WINDOW_s).astype(np.int64)
    starts = np.arange(count) * WINDOW_s
    shown: Samples = np.zeros(count)
    for begin, end in hour.shown_s.tolist():
        shown += np.clip(starts + WINDOW_s, begin, end) - np.clip(starts, begin, end)
    whole = shown > WINDOW_s - 0.02
    columns = (found.arm_mmHg[good, 1], told.arm_mmHg[place, 1], strokes * 60e-3 / interval, true * 60e-3 / interval)
    means = [window_means(number, values, count) for values in columns]
    rate = found.known.ventilation.breaths_per_min / 60.0
    pulses, law = ESTIMATORS[USUAL_ESTIMATOR](found.beats)[good], shipped_breath()
    variations = np.full((2, count), np.nan)
    for k in np.flatnonzero(whole):
        own = (number == k) & np.isfinite(strokes)
        if np.count_nonzero(own) >= FEWEST_BEATS:
            window = good.copy()
            window[good] = own
            gain = breath_gain(law, *breath_features(found.beats, window, rate, found.known.wearer))
            for row, values, factor in ((0, pulses, gain), (1, true, 1.0)):
                variations[row, k] = factor * fit_percent(onset[own], values[own], rate)[0]
    return Course(np.asarray(starts + 0.5 * WINDOW_s, float), shown / WINDOW_s, whole, *means, *variations)


def window_means(number: NDArray[np.int64], values: Samples, count: int) -> Samples:
    """Means by window number; nan for fewer than FEWEST_BEATS."""
    kept = np.isfinite(values) & (number < count)
    beats = np.bincount(number[kept], minlength=count)
    total = np.bincount(number[kept], values[kept], minlength=count)
    return np.asarray(np.where(beats >= FEWEST_BEATS, total / np.maximum(beats, 1), np.nan))


def slope_h(time_s: Samples, values: Samples) -> float:
    """Slope of a straight line through finite values, per hour; nan of fewer than three."""
    kept = np.isfinite(values)
    if np.count_nonzero(kept) < 3:
        return math.nan
    return float(np.polyfit(time_s[kept] / 3600.0, values[kept], 1)[0])


def _pair(values: Samples) -> tuple[float, float]:
    kept = values[np.isfinite(values)]
    return (float(np.mean(kept)), float(np.std(kept, ddof=1))) if len(kept) > 1 else (math.nan, math.nan)


def _rms(values: Samples) -> float:
    kept = values[np.isfinite(values)]
    return float(np.sqrt(np.mean(kept**2))) if len(kept) else math.nan


def _empty() -> Course:
    none = np.empty(0)
    return Course(none, none, np.empty(0, np.bool_), none, none, none, none, none, none)
