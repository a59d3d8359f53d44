"""Stroke volume in mL: an estimator times a constant for age, sex, height and weight, or one from a reference.

    log SV = log estimator + Σ c_j x_j          x = 1, age, sex, height, weight
The shape estimator is log-linear in features of the beat; for change after a reference it has weights of its own, which
look at changes within a person only and go with age. Constants and their spreads were fitted on virtual people: what
they leave open there is what an interval is made of, apart for the absolute value and for change. People scatter more.
"""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.readings.beats.stream import Beats
from experiments.readings.output.estimators import ESTIMATORS, SHAPE, shape_features
from experiments.readings.people.wearer import Wearer

Samples = NDArray[np.float64]
DECADES = (20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0)  # edges in years


class Law(NamedTuple):
    """One estimator's constants."""

    build: Samples  # (5,) of the wearer's build
    shape: Samples  # of SHAPE_FEATURES and of them times age, or empty
    change_shape: Samples  # of SHAPE_FEATURES and of them times age, for change within a person, or empty
    absolute_sd: Samples  # SD of log SV in each decade of age
    change_sd: Samples  # SD of log SV against a reference at rest, in each decade
    known_mL: float  # mean of all people: the null predictor


def decade(age_years: float) -> int:
    """Number of the decade of age; those outside take the nearest."""
    return int(min(max((age_years - DECADES[0]) // 10.0, 0), len(DECADES) - 2))


def with_age(features: Samples, wearer: Wearer) -> Samples:
    """Features, and the same times the wearer's age about 50 in units of 20 years."""
    return np.concatenate([features, features * wearer.build[1]], axis=1)


def raw(name: str, law: Law, beats: Beats, wearer: Wearer, change: bool = False) -> Samples:
    """An estimator before any constant, for each beat."""
    if name != SHAPE:
        return ESTIMATORS[name](beats)
    aged = with_age(shape_features(beats), wearer)
    return np.asarray(np.exp(aged @ (law.change_shape if change else law.shape)))


def constant(law: Law, wearer: Wearer) -> float:
    """The factor to mL for a wearer."""
    return float(np.exp(law.build @ wearer.build))


def stroke_mL(name: str, law: Law, beats: Beats, wearer: Wearer, factor: float | None = None) -> Samples:
    """Stroke volume of each beat; `factor` is what `factor_of` made of a reference, None without one."""
    if factor is not None:
        return np.asarray(factor * raw(name, law, beats, wearer, True))
    return np.asarray(constant(law, wearer) * raw(name, law, beats, wearer))


def factor_of(name: str, law: Law, beats: Beats, wearer: Wearer, reference_mL: float) -> float:
    """The constant that a reference stroke volume gives for beats at the same time; nan without a beat that counts."""
    seen = raw(name, law, beats, wearer, True)[beats.counts]
    seen = seen[np.isfinite(seen)]
    return reference_mL / float(np.mean(seen)) if len(seen) else float("nan")


def log_sd(law: Law, wearer: Wearer, referenced: bool) -> float:
    """SD of the log of stroke volume that the model leaves, absolute or as change since a reference."""
    return float((law.change_sd if referenced else law.absolute_sd)[decade(wearer.age_years)])
