import numpy as np
import pytest

from experiments.readings.limits.waves import HARMONICS, shipped_waves, waves_of
from tests.experiments.readings.steady_cases import some_cases


def test_waves_are_the_beats_they_come_from() -> None:
    cases = list(some_cases())[:5]
    waves = waves_of(np.array([one.interval_s for one in cases]), np.array([one.finger_mmHg for one in cases]))
    assert waves.pressure_mmHg() == pytest.approx(np.array([one.finger_mmHg for one in cases]), abs=0.1)
    assert waves.frequency_Hz[0, 1] == pytest.approx(1.0 / cases[0].interval_s)


def test_a_limit_is_that_of_the_worst_state_of_each() -> None:
    waves = waves_of(np.ones(4), np.ones((4, 64)), np.array([0, 0, 1, 1]))
    assert waves.largest(np.array([1.0, 5.0, 3.0, 2.0]), 1.0) == 5.0
    assert waves.largest(np.array([1.0, 5.0, 3.0, 2.0]), 0.0) == 3.0
    assert waves_of(np.ones(2), np.ones((2, 64))).largest(np.array([1.0, 2.0]), 0.5) == 1.5


def test_what_is_shipped_are_the_first_of_those_who_are_judged() -> None:
    """Seed 1003 is the fourth of them."""
    waves = shipped_waves()
    assert waves.harmonics.shape == (900, HARMONICS + 1)
    assert np.array_equal(waves.person, np.repeat(np.arange(100), 9))
    for k, one in enumerate(list(some_cases())[:4]):
        assert waves.interval_s[27 + k] == pytest.approx(one.interval_s, rel=1e-6)
        assert waves.pressure_mmHg()[27 + k] == pytest.approx(one.finger_mmHg, abs=0.6)  # in the band
