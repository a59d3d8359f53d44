import math

import numpy as np
import pytest

from experiments.trend.failures import by_beat, changed
from plant.units import hydrostatic_mmHg
from tests.experiments.trend.one_study import one_study

ONSETS = np.arange(9) * 100
BEAT = 80.0 + 40.0 * np.sin(np.pi * np.arange(100) / 100.0) ** 2


def test_beats_that_were_not_shown_throughout_have_no_values():
    wave = np.tile(BEAT, 8)
    wave[250] = np.nan
    values = by_beat(wave[:650], ONSETS)
    assert np.flatnonzero(np.isnan(values[:, 0])).tolist() == [2, 6, 7]
    assert values[0] == pytest.approx([120.0, 100.0, 80.0, 0.2])


def test_changes_are_the_largest_of_five_beats_together():
    usual = by_beat(np.tile(BEAT, 8), ONSETS)
    moved = usual.copy()
    moved[3:, :3] += 10.0
    moved[3:, 3] = 40.0 / 220.0
    systolic, mean, diastolic, output, variation = changed(moved, usual)
    assert (systolic, mean, diastolic) == pytest.approx((10.0, 10.0, 10.0))
    assert output == pytest.approx(100.0 * (200.0 / 220.0 - 1.0)) and variation == pytest.approx(0.0)
    assert all(math.isnan(v) for v in changed(moved[:4], usual))


def test_a_wrong_height_moves_all_pressures_alike_and_nobody_warns():
    stuck, height = one_study()[0].harms
    assert stuck.beats == 0 and stuck.warned_s < 0.5 and math.isnan(stuck.systolic_mmHg)
    assert math.isinf(height.warned_s) and height.beats > 20
    assert height.systolic_mmHg == pytest.approx(height.diastolic_mmHg) == pytest.approx(height.mean_mmHg)
    assert height.mean_mmHg == pytest.approx(hydrostatic_mmHg(0.2), rel=0.02)
    assert height.output_percent < -10.0
