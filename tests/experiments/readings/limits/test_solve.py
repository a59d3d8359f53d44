import math

import pytest

from experiments.readings.limits.propagate import changes, first_order, second_order, worst
from experiments.readings.limits.solve import (
    Wanted,
    availability,
    crossing,
    least_damping,
    most_gap_share,
    needed,
    windows_needed_s,
)
from experiments.readings.limits.waves import shipped_waves
from plant.errors import InputError
from plant.units import hydrostatic_mmHg

WAVES = shipped_waves()


def test_what_is_solved_keeps_the_limit_and_a_little_less_does_not() -> None:
    """Output within 5 % asks for 10.4 Hz of these hundred people; of 300 for 10.5 (wanted: 10.5 ± 0.5)."""
    row = needed(WAVES, Wanted(output_percent=5.0))[0]
    assert row.bandwidth_Hz == pytest.approx(10.5, abs=0.5)
    for factor, kept in ((1.001, True), (0.99, False)):
        assert (worst(WAVES, changes(WAVES, first_order(factor * row.bandwidth_Hz)))["output"] <= 5.0) is kept
    assert worst(WAVES, changes(WAVES, level_mmHg=-row.level_mmHg))["output"] == pytest.approx(5.0, abs=0.01)
    assert row.height_cm == pytest.approx(100 * row.level_mmHg / hydrostatic_mmHg(1.0))
    assert row.drift_mmHg_h == pytest.approx(row.level_mmHg / 2.0)


def test_damping_that_keeps_a_limit() -> None:
    row = needed(WAVES, Wanted(systolic_mmHg=4.0, natural_Hz=12.0))[0]
    assert 0.2 < row.damping < 1.0
    assert worst(WAVES, changes(WAVES, second_order(12.0, row.damping * 1.01)))["systolic"] <= 4.0
    assert worst(WAVES, changes(WAVES, second_order(12.0, row.damping * 0.97)))["systolic"] > 4.0
    assert math.isnan(least_damping(lambda z: 9.0, 4.0)) and least_damping(lambda z: 1.0, 4.0) == pytest.approx(0.1)


def test_systolic_error_is_level_for_level_and_pulse_is_blind() -> None:
    rows = {row.reading: row for row in needed(WAVES, Wanted(systolic_mmHg=2.0, pulse_percent=5.0))}
    assert rows["systolic"].level_mmHg == pytest.approx(2.0, abs=1e-3) and math.isnan(rows["pulse"].level_mmHg)


def test_variation_asks_for_little_noise() -> None:
    """Four beats a breath: 2.059 σ/PP, with the pulse that 95 % exceed."""
    row = needed(WAVES, Wanted(variation_percent=0.5))[0]
    assert row.reading == "variation" and 0.05 < row.noise_mmHg < 0.25 and math.isnan(row.bandwidth_Hz)


def test_gaps_and_windows() -> None:
    """5 s of gap each 34 s: a window of 12, 20, 30 s is there 56, 36, 10 % of the time."""
    assert [availability(34.0, 5.0, w) for w in (12.0, 20.0, 30.0)] == pytest.approx([0.564, 0.359, 0.103], abs=1e-3)
    share = most_gap_share(20.0, 0.8, 5.0)
    run = 5.0 / share - 5.0
    assert availability(run, 5.0, 20.0) == pytest.approx(0.8)
    assert windows_needed_s(15.0) == 12.0


def test_crossing_and_refusals() -> None:
    assert crossing(lambda x: x > 3.0, 1.0, 10.0) == pytest.approx(3.0)
    assert crossing(lambda x: x < 3.0, 1.0, 10.0, False) == pytest.approx(3.0)
    assert math.isnan(crossing(lambda x: False, 1.0, 10.0)) and crossing(lambda x: True, 1.0, 10.0) == 1.0
    with pytest.raises(InputError, match="no limit on a reading"):
        needed(WAVES, Wanted())
    with pytest.raises(InputError, match="--output -1 must be above 0"):
        needed(WAVES, Wanted(output_percent=-1.0))
    with pytest.raises(InputError, match="--availability 1 must be below 1"):
        needed(WAVES, Wanted(output_percent=1.0, availability=1.0))
