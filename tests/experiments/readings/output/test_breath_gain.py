import numpy as np
import pytest

from experiments.readings.beats.delineate import Marks
from experiments.readings.beats.reasons import Reason
from experiments.readings.beats.stream import Beat, Beats, columns
from experiments.readings.output.breath_gain import (
    FEATURES,
    FIRST_SWING,
    SWINGS,
    BreathLaw,
    before_s,
    breath_features,
    breath_gain,
    terms,
)
from experiments.readings.people.wearer import Wearer

RATE_Hz = 0.25


def beats(seconds: float = 40.0, along: float = 0.5, swing: float = 0.05) -> Beats:
    """Pulses that swing with the breath, and mean pressure by a share of it a quarter of a breath later."""
    rows = []
    for k in range(round(seconds / 0.8)):
        time = 0.8 * k
        phase = 2.0 * np.pi * RATE_Hz * time
        pulse, mean = 50.0 * (1.0 + swing * np.sin(phase)), 90.0 * (1.0 - along * swing * np.cos(phase))
        marks = Marks(0.8, mean + 0.6 * pulse, mean, mean - 0.4 * pulse, 0.12, 0.3, mean, 6.0, 9.0, 600.0, 0.1)
        rows.append(Beat(time, marks, Reason.NONE))
    return columns(rows)


def law(weight: float = 0.3) -> BreathLaw:
    """A gain that follows mean pressure's swing across the pulse's."""
    usual = np.stack([np.zeros(len(FEATURES)), np.ones(len(FEATURES))])
    weights = np.zeros(terms(usual, usual[:1]).shape[1])
    weights[1 + FIRST_SWING + SWINGS.index("mean across")] = weight
    return BreathLaw(usual, weights, 0.02)


def test_swings_are_told_as_shares_of_the_pulse_s() -> None:
    found = beats()
    features, signal = breath_features(found, found.counts, RATE_Hz, Wearer(60.0))
    told = dict(zip(FEATURES, features, strict=True))
    assert told["mean in phase"] == pytest.approx(0.0, abs=0.01) and signal > 0.99
    assert told["mean across"] == pytest.approx(-0.5, abs=0.01)
    assert told["interval in phase"] == pytest.approx(0.0, abs=1e-6) and told["age"] == pytest.approx(0.5)
    assert told["log mean share"] == pytest.approx(np.log(0.4), abs=0.01)
    assert breath_gain(law(), features, signal) == pytest.approx(np.exp(0.3 * told["mean across"]), rel=0.01)


def test_what_noise_hides_and_what_nobody_was_fitted_on_stay_bounded() -> None:
    found = beats(swing=0.0)
    features = breath_features(found, found.counts, RATE_Hz, Wearer())[0]
    assert np.all(np.isfinite(features)) and breath_gain(law(), features, 0.0) == 1.0
    wild = np.full(len(FEATURES), 1e6)
    assert breath_gain(law(), wild, 1.0) == pytest.approx(np.exp(0.9))


def test_a_few_beats_have_the_usual_gain() -> None:
    found = beats(5.0)
    features, signal = breath_features(found, found.counts, RATE_Hz, Wearer())
    assert np.all(np.isnan(features)) and breath_gain(law(), features, signal) == 1.0


def test_the_interval_before_is_that_of_the_beat_before_or_none() -> None:
    found = beats(8.0)
    cut = found.where(np.arange(len(found.onset_s)) != 4)
    before = before_s(cut)
    assert np.isnan(before[[0, 4]]).all() and np.all(before[[1, 2, 3, 5]] == 0.8)
