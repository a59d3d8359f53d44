"""Systolic, mean and diastolic pressure of the upper arm from a beat at the finger, by a linear law.

    arm − finger = Σ c_j z_j     z = 1, build of the wearer, mean pressure, interval, shape of the beat, pulse
It is a little closer than the filter's own peaks, which see neither sex nor shape. Fitted on virtual people; the filter
of `transfer.py` draws the waveform.
"""
from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from experiments.readings.beats.stream import Beats
from experiments.readings.output.estimators import SHAPE_FEATURES, shape_features
from experiments.readings.people.wearer import BUILD, Wearer

Samples = NDArray[np.float64]

PRESSURES = ("systolic", "mean", "diastolic")
FEATURES = (*BUILD, "mean pressure", "interval", *SHAPE_FEATURES, "pulse")


def arm_features(wearer: Wearer, beats: Beats) -> Samples:
    """The rows z, shape (beats, FEATURES)."""
    count = len(beats.onset_s)
    now = np.stack([(beats.mean_mmHg - 90.0) / 20.0, (beats.interval_s - 0.8) / 0.2], axis=1)
    return np.concatenate([np.broadcast_to(wearer.build, (count, len(BUILD))), now, shape_features(beats),
                           beats.pulse_mmHg[:, None] / 50.0], axis=1)


def finger_values(beats: Beats) -> Samples:
    """Systolic, mean, diastolic, shape (beats, 3)."""
    return np.stack([beats.systolic_mmHg, beats.mean_mmHg, beats.diastolic_mmHg], axis=1)


def wave_values(wave_mmHg: Samples, period_s: float, feet: NDArray[np.int64], beats: Beats) -> Samples:
    """Values of a wave at the arm whose feet are known (sample numbers, −1 for none), shape (beats, 3)."""
    found = np.full((len(feet), 3), np.nan)
    for k in range(len(feet) - 1):
        begin, end = int(feet[k]), int(feet[k + 1])
        joined = abs(beats.onset_s[k + 1] - beats.onset_s[k] - beats.interval_s[k]) < period_s
        if begin >= 0 and end > begin + 2 and joined:
            own = wave_mmHg[begin : end + 1]
            if np.all(np.isfinite(own)):
                found[k] = np.max(own), np.mean(own[:-1]), own[0]
    return found


def arm_values(law: Samples, wearer: Wearer, beats: Beats) -> Samples:
    """The same of the upper arm; `law` has shape (3, FEATURES). nan for beats without values."""
    return np.asarray(finger_values(beats) + arm_features(wearer, beats) @ law.T)
