"""By how much stroke volume varies more with the breath than Liljestrand–Zander of a pulse: a gain for each stretch.

A larger stroke also lasts longer, and part of it has run off before its pulse peaks: by how much differs from person
to person and with the breath's period. What tells it is how far mean pressure and the interval before a beat swing
along (complex, as shares of the pulse's swing), the shape of the beats, and who wears the cuff:
    log gain = c₀ + Σ c_i x_i + Σ c_ii x_i² + Σ c_ij x_i s_j     s_j of them the breath's rate and the swings
Mean pressure swings by flow alone there: pressure of the airways that reaches the arteries by itself is not in it.
Features are bounded to what was fitted on, and swings that noise hides count as usual ones.
"""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.readings.beats.stream import Beats
from experiments.readings.output.estimators import ESTIMATORS, SHAPE_FEATURES, shape_features
from experiments.readings.output.variation import swing
from experiments.readings.people.wearer import Wearer

Samples = NDArray[np.float64]
USED = ("log pulse", "log mean", "log interval", "log notch time", "log mean share", "log systolic area",
        "log diastolic area")
SWINGS = ("mean in phase", "mean across", "interval in phase", "interval across")
FEATURES = (*USED, "log rate", *SWINGS, "age", "sex", "height", "weight")
FIRST_SWING = len(USED) + 1
CROSSED = range(len(USED), len(USED) + 5)  # rate and swings: with every feature
USUAL_RATE_Hz = 14.0 / 60.0
MOST_SD = 3.0
FEWEST = 8  # beats


class BreathLaw(NamedTuple):
    """Constants of the gain."""

    usual: Samples  # (2, features): mean and SD of those who were fitted on
    weights: Samples  # of `terms`
    sd: float  # relative SD of what the gain leaves


def before_s(beats: Beats) -> Samples:
    """Interval before each beat; nan where the one before is not there."""
    follows = np.diff(beats.onset_s) < beats.interval_s[:-1] + 1e-6
    return np.concatenate([[np.nan], np.where(follows, beats.interval_s[:-1], np.nan)])


def breath_features(beats: Beats, kept: NDArray[np.bool_], rate_Hz: float, wearer: Wearer) -> tuple[Samples, float]:
    """Features of a stretch, shape (FEATURES,), and the share of the pulse's swing that is not noise.

    `kept` are beats that count and belong to it. Features are nan for fewer than FEWEST of them.
    """
    pulse, before = ESTIMATORS["Liljestrand–Zander"](beats), before_s(beats)
    shapes = shape_features(beats)[:, [SHAPE_FEATURES.index(name) for name in USED]]
    good = kept & np.isfinite(pulse) & np.isfinite(before) & np.all(np.isfinite(shapes), axis=1)
    if np.count_nonzero(good) < FEWEST:
        return np.full(len(FEATURES), np.nan), 0.0
    time = beats.onset_s[good]
    own, mean, interval = (swing(time, values[good], rate_Hz) for values in (pulse, beats.mean_mmHg, before))
    along = [one.relative / own.relative for one in (mean, interval)] if abs(own.relative) > 1e-9 else [0j, 0j]
    told = np.array([np.log(rate_Hz / USUAL_RATE_Hz), *(part for one in along for part in (one.real, one.imag))])
    return np.concatenate([np.mean(shapes[good], axis=0), told, wearer.build[1:]]), own.signal


def terms(usual: Samples, features: Samples) -> Samples:
    """What the weights belong to, for features of shape (stretches, FEATURES)."""
    x = np.clip((features - usual[0]) / usual[1], -MOST_SD, MOST_SD)
    return np.concatenate([np.ones((len(x), 1)), x, x**2, *(x * x[:, [k]] for k in CROSSED)], axis=1)


def breath_gain(law: BreathLaw, features: Samples, signal: float) -> float:
    """The gain of a stretch; of one with too few beats that of usual features."""
    own = np.where(np.isfinite(features), features, law.usual[0])
    swings = slice(FIRST_SWING, FIRST_SWING + len(SWINGS))
    own[swings] = law.usual[0, swings] + signal * (own[swings] - law.usual[0, swings])
    return float(np.exp(terms(law.usual, own[None, :])[0] @ law.weights))
