"""Stroke volume in mL: an estimator times a constant for age, sex, height and weight, or one from a reference.

    log SV = log estimator + Σ c_j x_j          x = 1, age, sex, height, weight
    SV = reference · (estimator/that of the reference)^e      e goes with age
The exponent is not part of the published estimators: a stroke that lasts longer makes the pulse grow by less, and e is
what people's changes ask for; 1 would be the estimator as published. The shape estimator is quadratic in features of
the beat; for change after a reference it has weights of its own, which look at changes within a person only and go with
age. Constants and their spreads were fitted on virtual people: what they leave open there, of people who were held out,
is what an interval is made of, apart for the absolute value and for change. People scatter more.
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


NONE = np.empty(0)
MOST = 2.5  # SD from its mean beyond which a feature is taken no further: hardly anybody was fitted on there


class Law(NamedTuple):
    """One estimator's constants."""

    build: Samples  # (5,) of the wearer's build
    shape: Samples  # of `quadratic`, or empty
    change_shape: Samples  # of SHAPE_FEATURES and of them times age, or (2,) of an exponent, for change within a person
    absolute_sd: Samples  # SD of log SV in each decade of age
    change_sd: Samples  # SD of log SV against a reference at rest, in each decade
    known_mL: float  # mean of all people: the null predictor
    usual: Samples = NONE  # (2, features): mean and SD that `quadratic` is taken about, or empty


def decade(age_years: float) -> int:
    """Number of the decade of age; those outside take the nearest."""
    return int(min(max((age_years - DECADES[0]) // 10.0, 0), len(DECADES) - 2))


def with_age(features: Samples, wearer: Wearer) -> Samples:
    """Features, and the same times the wearer's age about 50 in units of 20 years."""
    return np.concatenate([features, features * wearer.build[1]], axis=1)


def quadratic(features: Samples, usual: Samples, age: Samples) -> Samples:
    """Features about their means by their SDs (2, features), bounded; the same times age (1 or rows), and products."""
    own = np.clip((features - usual[0]) / usual[1], -MOST, MOST)
    first, second = np.triu_indices(own.shape[1])
    return np.concatenate([own, own * np.reshape(age, (-1, 1)), own[:, first] * own[:, second]], axis=1)


def exponent(law: Law, wearer: Wearer) -> float:
    """With which an estimator follows change within a person: the pulse grows by less than the stroke, or by more."""
    return float(law.change_shape @ wearer.build[:2])


def raw(name: str, law: Law, beats: Beats, wearer: Wearer, change: bool = False) -> Samples:
    """An estimator before any constant, for each beat; `change`: as it follows change after a reference."""
    if name != SHAPE:
        plain = ESTIMATORS[name](beats)
        return np.asarray(np.where(plain > 0.0, plain, np.nan) ** exponent(law, wearer)) if change else plain
    features = shape_features(beats)
    if change:
        return np.asarray(np.exp(with_age(features, wearer) @ law.change_shape))
    return np.asarray(np.exp(quadratic(features, law.usual, wearer.build[1:2]) @ law.shape))


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
