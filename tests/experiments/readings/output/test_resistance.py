import pytest

from experiments.readings.output.resistance import DYNE_PER_mmHg_min_L, resistance


def test_worked_example() -> None:
    """Mean 95, venous 5, output 5: 1440 dyn s/cm⁵ with the customary 80; 93, 5, 5: 1408 (textbook arithmetic)."""
    assert DYNE_PER_mmHg_min_L == pytest.approx(79.993, abs=1e-3)
    assert resistance(95.0, 5.0).dyn_s_cm5 == pytest.approx(1440.0, abs=0.2)
    assert resistance(93.0, 5.0).dyn_s_cm5 == pytest.approx(1408.0, abs=0.2)
    assert resistance(95.0, 2.5).dyn_s_cm5 == pytest.approx(2880.0, abs=0.4)


def test_units_and_the_venous_interval() -> None:
    found = resistance(95.0, 5.0, venous_sd_mmHg=5.0)
    assert found.MPa_s_m3 == pytest.approx(144.0, abs=0.1) and found.mmHg_s_mL == pytest.approx(1.08)
    assert found.relative_sd == pytest.approx(5.0 / 90.0)
    both = resistance(95.0, 5.0, 3.0, 0.1, venous_sd_mmHg=4.0)
    assert both.relative_sd == pytest.approx(((5 / 90) ** 2 + 0.01) ** 0.5)
