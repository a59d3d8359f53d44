"""The two staircase searches on the wrist rig."""
import math

import pytest

from calibrate.protocol import Failed, Found, Search
from calibrate.searches import ArctangentSearch, ClassroomSearch
from experiments.calibration import Calibration, calibrate
from experiments.rig import load_rig
from plant.pressure_synthetic import SyntheticPressure, synthesise


def search(strategy: Search, systolic: float = 120.0, diastolic: float = 75.0) -> Calibration:
    params = SyntheticPressure(systolic_mmHg=systolic, diastolic_mmHg=diastolic)
    return calibrate(load_rig("wrist"), synthesise(params, 0.001, 20.0, 5), strategy)


@pytest.mark.parametrize(("systolic", "diastolic"), [(120.0, 75.0), (160.0, 95.0)])
def test_the_fit_beats_the_classroom_rule(systolic: float, diastolic: float) -> None:
    plain, fitted = (search(s, systolic, diastolic) for s in (ClassroomSearch(), ArctangentSearch()))
    assert isinstance(plain.outcome, Found) and isinstance(fitted.outcome, Found)
    assert abs(fitted.error_mmHg) < abs(plain.error_mmHg)
    assert abs(fitted.error_mmHg) < 6.0
    assert fitted.slope_ratio == pytest.approx(1.0, abs=0.5)


def test_the_sureness_of_a_fit_is_never_better_than_its_floor() -> None:
    outcome = search(ArctangentSearch()).outcome
    assert not isinstance(outcome, Failed)
    assert outcome.sd_mmHg >= 1.6 and math.isfinite(outcome.sd_mmHg)
