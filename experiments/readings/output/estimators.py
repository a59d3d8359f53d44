"""Published general estimators of stroke volume from a beat of arterial pressure, each up to a constant.

    mean pressure        M T
    Windkessel           S − D                                  Erlanger & Hooker 1904; Frank 1899
    Liljestrand–Zander   (S − D)/(S + D)                        Liljestrand & Zander 1928
    systolic area        ∫ (p − D) dt over the systole
    Herd                 M − D                                  Herd and others 1966
    area balance         (p_es − D)(1 + A_s/A_d)                after Bourgeois and others 1976 (from memory)
S, M, D systolic, mean, diastolic pressure, T interval, A_s and A_d the areas over D before and after the notch, p_es
the pressure at the notch. The denominator of Liljestrand–Zander moves with the breath and would halve the variation
of stroke volume; it is therefore the mean over SLOW_s on both sides, never across an interruption.
"""
from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from experiments.readings.beats.reasons import INTERRUPTING
from experiments.readings.beats.stream import Beats

Samples = NDArray[np.float64]
SLOW_s = 8.0


def stretches(beats: Beats) -> NDArray[np.int64]:
    """Number of the stretch between interruptions that each beat lies in; a beat that does not follow on begins one."""
    if not len(beats.onset_s):
        return np.empty(0, np.int64)
    cut = (beats.reasons & int(INTERRUPTING)) != 0
    apart = np.concatenate([[False], np.diff(beats.onset_s) > beats.interval_s[:-1] + 1e-6])
    return np.asarray(np.cumsum(np.concatenate([[False], cut[:-1]]) | apart), np.int64)


def slow_mean(beats: Beats, values: Samples) -> Samples:
    """Mean of values of beats that count, over SLOW_s on both sides within each beat's own stretch; nan without any."""
    found = np.full(len(values), np.nan)
    stretch, good = stretches(beats), beats.counts & np.isfinite(values)
    for number in np.unique(stretch):
        own = np.flatnonzero((stretch == number) & good)
        if not len(own):
            continue
        time = beats.onset_s[own]
        sums = np.concatenate([[0.0], np.cumsum(values[own])])
        every = np.flatnonzero(stretch == number)
        low = np.searchsorted(time, beats.onset_s[every] - SLOW_s)
        high = np.searchsorted(time, beats.onset_s[every] + SLOW_s, side="right")
        some = high > low
        found[every[some]] = (sums[high[some]] - sums[low[some]]) / (high - low)[some]
    return found


def _mean_pressure(beats: Beats) -> Samples:
    return np.asarray(beats.mean_mmHg * beats.interval_s)


def _liljestrand_zander(beats: Beats) -> Samples:
    return np.asarray(beats.pulse_mmHg / slow_mean(beats, beats.systolic_mmHg + beats.diastolic_mmHg))


def _area_balance(beats: Beats) -> Samples:
    ratio = beats.systolic_area_mmHg_s / np.maximum(beats.diastolic_area_mmHg_s, 1e-6)
    return np.asarray((beats.notch_mmHg - beats.diastolic_mmHg) * (1.0 + ratio))


ESTIMATORS: dict[str, Callable[[Beats], Samples]] = {
    "mean pressure": _mean_pressure,
    "Windkessel": lambda beats: beats.pulse_mmHg,
    "Liljestrand–Zander": _liljestrand_zander,
    "systolic area": lambda beats: beats.systolic_area_mmHg_s,
    "Herd": lambda beats: np.asarray(beats.mean_mmHg - beats.diastolic_mmHg),
    "area balance": _area_balance,
}
SHAPE = "shape"
LEVEL_BLIND = ("Windkessel", "systolic area", "Herd", "area balance")  # a shift of the pressure changes nothing
SHAPE_FEATURES = ("log pulse", "log mean", "log interval", "log notch time", "log mean share", "log systolic area",
                  "log diastolic area", "log slope", "log peak time", "notch level")


def shape_features(beats: Beats) -> Samples:
    """What the log-linear estimator looks at, shape (beats, SHAPE_FEATURES); nan for a beat without marks."""
    pulse = np.where(beats.pulse_mmHg > 1.0, beats.pulse_mmHg, np.nan)

    def log(values: Samples) -> Samples:
        return np.asarray(np.log(np.where(values > 1e-9, values, np.nan)))

    return np.stack([
        log(pulse), log(beats.mean_mmHg), log(beats.interval_s), log(beats.notch_s),
        log((beats.mean_mmHg - beats.diastolic_mmHg) / pulse), log(beats.systolic_area_mmHg_s / pulse),
        log(beats.diastolic_area_mmHg_s / pulse), log(beats.slope_mmHg_s / pulse), log(beats.peak_s),
        (beats.notch_mmHg - beats.diastolic_mmHg) / pulse,
    ], axis=1)
