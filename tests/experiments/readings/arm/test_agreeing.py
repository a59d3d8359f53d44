import numpy as np
import pytest

from experiments.readings.arm.agreeing import agreed, feet

PERIOD_s, BEAT = 0.01, 100
SHAPE = np.sin(np.pi * np.minimum(np.arange(BEAT) / 60.0, 1.0)) ** 2
WAVE = np.tile(70.0 + 50.0 * SHAPE, 5)
ONSET = np.arange(5) * 1.0 + 0.05  # at the finger, later than at the arm
INTERVAL = np.ones(5)
VALUES = np.array([(110.0, 85.0, 70.0), (120.0, 90.0, 75.0), (115.0, 90.0, 72.0), (np.nan,) * 3, (118.0, 90.0, 74.0)])


def test_feet_are_looked_for_around_the_finger_s() -> None:
    assert np.abs(feet(WAVE, PERIOD_s, ONSET)[1:] - np.array([100, 200, 300, 400])).max() <= 20
    gone = WAVE.copy()
    gone[150:250] = np.nan
    assert feet(gone, PERIOD_s, ONSET)[2] == -1


def test_each_beat_has_its_values_and_the_shape_stays() -> None:
    found, at = agreed(WAVE, PERIOD_s, ONSET, INTERVAL, VALUES), feet(WAVE, PERIOD_s, ONSET)
    for k in (0, 1):
        own = found[at[k] : at[k + 1] + 1]
        assert own[0] == pytest.approx(VALUES[k, 2]) and own[-1] == pytest.approx(VALUES[k + 1, 2])
        assert np.max(own) == pytest.approx(VALUES[k, 0], abs=0.3)
        assert np.argmax(own) == pytest.approx(np.argmax(WAVE[at[k] : at[k + 1] + 1]), abs=2)
    assert np.max(np.abs(np.diff(found[: at[2]]))) < 3.0  # no step from beat to beat
    shift = found[at[2] + 5 : at[3] - 5] - WAVE[at[2] + 5 : at[3] - 5]
    assert np.ptp(shift) < 1e-9  # the beat after which nothing is known is shifted only


def test_without_any_value_nothing_changes() -> None:
    assert agreed(WAVE, PERIOD_s, ONSET, INTERVAL, np.full((5, 3), np.nan)) is WAVE
