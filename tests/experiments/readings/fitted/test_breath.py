import pytest

from experiments.readings.fitted.breath import breathing, fit_variation
from experiments.readings.fitted.store import shipped


def test_the_pulse_varies_less_than_the_stroke_and_the_gain_puts_that_right() -> None:
    gain, spread = fit_variation(range(3))
    assert 1.0 < gain < 1.4 and 0.0 < spread < 0.3
    held, left = shipped().variation
    assert 1.0 < held < 1.3 and 0.03 < left < 0.2
    one = breathing(1005)
    assert held * one.read_percent == pytest.approx(one.true_percent, rel=3.0 * left)
    assert breathing(1005) == one
