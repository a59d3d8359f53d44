import numpy as np
import pytest

from experiments.readings.servo.band import FULL_Hz, NOTHING_Hz, band, banded


def test_whole_below_gone_above() -> None:
    assert band(np.array([0.0, FULL_Hz, 0.5 * (FULL_Hz + NOTHING_Hz), NOTHING_Hz, 90.0])) == pytest.approx(
        [1.0, 1.0, 0.5, 0.0, 0.0])


def test_a_beat_keeps_its_mean_and_its_lower_harmonics() -> None:
    turn = 2.0 * np.pi * np.arange(512) / 512
    low, high = 90.0 + 20.0 * np.sin(turn) + 3.0 * np.cos(8.0 * turn), 2.0 * np.sin(40.0 * turn)
    assert banded(low + high, 0.8) == pytest.approx(low, abs=1e-9)
