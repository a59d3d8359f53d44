import numpy as np
import pytest

from experiments.readings.limits.curves import GRID_mmHg, above_tangent, curves
from experiments.rigs.rig import clamp, load_rig
from plant.parts import line_end_volume
from plant.pneumatics.cuff import per_inflow

RIG = load_rig("cabinet")
POINT = clamp(RIG, 90.0, RIG.tone.level)
FOUND = curves(RIG.plant, POINT)
MIDDLE = len(GRID_mmHg) // 2


def test_all_pass_through_the_point_and_only_the_area_has_a_slope_there() -> None:
    step = GRID_mmHg[1] - GRID_mmHg[0]
    for law, slope in ((FOUND.area, FOUND.compliance), (FOUND.cuff_mL, 0.0), (FOUND.artery_s, 0.0)):
        assert law[MIDDLE] == pytest.approx(0.0, abs=1e-12)
        assert (law[MIDDLE + 1] - law[MIDDLE - 1]) / (2.0 * step) == pytest.approx(slope, rel=1e-3, abs=1e-5)


def test_the_artery_yields_less_away_from_its_peak_and_the_cuff_less_at_pressure() -> None:
    assert np.all(FOUND.artery_s[MIDDLE + 40 :] < 0.0) and np.all(FOUND.artery_s[: MIDDLE - 40] > 0.0)
    assert 0.0 < FOUND.area[MIDDLE + 80] < 20.0 * FOUND.compliance and sum(FOUND.shares) == pytest.approx(1.0)
    rates = [1.0 / per_inflow(RIG.plant.cuff, RIG.plant.air, POINT.state.cuff_mmHg + p, line_end_volume(RIG.plant.tube))
             for p in (0.0, 50.0)]
    slope = np.gradient(FOUND.cuff_mL, GRID_mmHg)
    assert slope[np.searchsorted(GRID_mmHg, 50.0)] == pytest.approx(rates[1] - rates[0], rel=0.02)


def test_a_straight_law_is_its_tangent() -> None:
    assert above_tangent(np.full(len(GRID_mmHg), 3.0)) == pytest.approx(0.0)
    assert above_tangent(GRID_mmHg.copy()) == pytest.approx(0.5 * GRID_mmHg**2, rel=1e-6)
