import numpy as np
import pytest

from experiments.readings.limits.propagate import changes, first_order, second_order, worst
from experiments.readings.limits.waves import shipped_waves

WAVES = shipped_waves()


def test_a_perfect_loop_changes_nothing() -> None:
    found = changes(WAVES, lambda f: np.ones(f.shape, complex))
    assert all(np.max(np.abs(values)) < 1e-9 for values in found)


def test_a_shift_of_the_level_is_what_it_is() -> None:
    found = changes(WAVES, level_mmHg=2.0)
    assert found.systolic_mmHg == pytest.approx(2.0) and found.pulse_percent == pytest.approx(0.0, abs=1e-9)
    total = np.max(WAVES.pressure_mmHg(), axis=1) + np.min(WAVES.pressure_mmHg(), axis=1)
    assert found.output_percent == pytest.approx(100.0 * (total / (total + 4.0) - 1.0))


def test_more_bandwidth_is_less_error_and_resonance_is_more() -> None:
    sizes = [worst(WAVES, changes(WAVES, first_order(f))) for f in (5.0, 10.0, 20.0)]
    for name in ("systolic", "diastolic", "pulse", "output"):
        assert sizes[0][name] > sizes[1][name] > sizes[2][name] > 0.0
    assert sizes[0]["mean"] < 1e-9
    resonant, damped = (worst(WAVES, changes(WAVES, second_order(15.0, z)))["systolic"] for z in (0.3, 0.7))
    assert resonant > 2.0 * damped
