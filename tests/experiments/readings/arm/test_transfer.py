import numpy as np
import pytest

from experiments.readings.arm.transfer import (
    FEATURES,
    KNOTS,
    Transfer,
    beat_to_arm,
    features_of,
    fit_transfer,
    response,
    taps,
    to_arm,
)
from experiments.readings.fitted.store import shipped
from experiments.readings.people.wearer import Wearer

X = features_of(Wearer(), 90.0, 0.8)
UNITY = Transfer(np.vstack([np.ones(KNOTS), np.zeros((len(FEATURES) - 1, KNOTS))]).astype(complex),
                 np.array([-2.0, 0, 0, 0, 0]), 1.0)


def beat(lead=0.0, size=1.0):
    phase = (np.arange(400) / 400.0 + lead) % 1.0
    return 70.0 + size * 40.0 * np.exp(-((phase - 0.3) / 0.08) ** 2)


def test_a_filter_of_one_only_moves_the_level() -> None:
    assert beat_to_arm(UNITY, X, beat(), 0.8) == pytest.approx(beat() - 2.0, abs=0.05)
    wave = np.tile(beat(), 12)
    assert to_arm(UNITY, X, wave, 2e-3)[600:-600] == pytest.approx(wave[600:-600] - 2.0, abs=0.3)
    assert np.sum(taps(UNITY, X, 2e-3)) == pytest.approx(1.0)


def test_a_known_filter_is_found_again() -> None:
    """An earlier and larger pulse, whatever the features."""
    random = np.random.default_rng(1)
    rows = [(np.array([1.0, *random.standard_normal(4)]), beat(0.0, s), beat(0.03, 1.2 * s), interval)
            for s in (0.8, 1.0, 1.2) for interval in np.linspace(0.5, 1.3, 12)]
    found = fit_transfer(rows, 1e-9)
    gain = response(found, np.array([1.0, 0, 0, 0, 0]), np.array([0.0, 2.0, 4.0]))
    assert gain[0] == 1.0 and np.abs(gain[1:]) == pytest.approx([1.2, 1.2], abs=0.05)


def test_beat_and_stream_agree_with_the_shipped_filter() -> None:
    wave = np.tile(beat(), 12)
    once = beat_to_arm(shipped().transfer, X, beat(), 0.8)
    stream = to_arm(shipped().transfer, X, wave, 2e-3)[2000:2400]
    assert stream == pytest.approx(once, abs=1.5)


def test_nothing_is_left_at_high_frequencies() -> None:
    assert abs(response(shipped().transfer, X, np.array([30.0]))[0]) == 0.0
