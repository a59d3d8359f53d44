import numpy as np
import pytest

from experiments.readings.fitted.breath import Breathing, breathing, drawn_rhythm, fit_breath
from experiments.readings.fitted.breath_law import shipped_breath
from experiments.readings.output.breath_gain import FEATURES, breath_gain, terms


def test_the_pulse_varies_less_than_the_stroke_and_the_gain_puts_that_right() -> None:
    """Somebody who was not fitted on."""
    law, one = shipped_breath(), breathing(1005)
    gain = breath_gain(law, one.features, one.signal)
    assert 1.0 < gain < 1.5 and one.signal > 0.9
    assert gain * one.read_percent == pytest.approx(one.true_percent, rel=3.0 * law.sd)
    assert abs(gain * one.read_percent - one.true_percent) < 0.5 * abs(one.read_percent - one.true_percent)


@pytest.mark.slow
def test_forty_people_are_read_within_half_a_point() -> None:
    """Nobody of them was fitted on; half a minute."""
    law, rows = shipped_breath(), [breathing(seed) for seed in range(7000, 7040)]
    off = np.array([breath_gain(law, one.features, one.signal) * one.read_percent - one.true_percent for one in rows])
    assert abs(np.mean(off)) < 0.2 and np.std(off, ddof=1) < 0.4 and np.mean(np.abs(off) < 0.5) > 0.85


def test_a_law_that_is_there_is_found_and_its_spread_is_that_of_people_left_out() -> None:
    random = np.random.default_rng(1)
    features, noise = random.standard_normal((600, len(FEATURES))), 0.02 * random.standard_normal(600)
    gain = np.exp(0.1 + 0.05 * features[:, 0] - 0.03 * features[:, 2] ** 2 + noise)
    rows = [Breathing(k // 3, 10.0 * g, 10.0, f, 1.0) for k, (g, f) in enumerate(zip(gain, features, strict=True))]
    law = fit_breath(rows)
    assert law.sd == pytest.approx(0.02, rel=0.25)
    assert terms(law.usual, features) @ law.weights == pytest.approx(np.log(gain), abs=0.1)


def test_each_record_of_somebody_breathes_anew() -> None:
    first, second = drawn_rhythm(7), drawn_rhythm(7, 1)
    assert first == drawn_rhythm(7) and first.breath_volume != second.breath_volume
    assert 9.0 <= first.breaths_per_min <= 20.0 and 0.025 <= second.breath_volume <= 0.1
