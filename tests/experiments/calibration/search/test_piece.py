"""Every strategy on one finger as plain rows."""
import math

import pytest

from experiments.calibration.search.piece import FOUND, Bench, Plan, Row, finger_rows, make_bench
from experiments.subjects.population import find_finger
from plant.errors import InputError

PLAN = Plan("wrist", (), ("classroom", "arctangent"), "mixed", 1, 1, 0, 5)


@pytest.fixture(scope="module")
def bench() -> Bench:
    return make_bench(PLAN)


def test_rows_are_the_trials(bench, trials):
    """The figures are those of a search by itself on that finger."""
    rows = finger_rows(bench, find_finger("mixed-1-0011"))
    assert [r.strategy for r in rows] == list(PLAN.strategies) and {r.finger for r in rows} == {"mixed-1-0011"}
    for found in rows:
        calibration = trials[found.strategy].calibration
        assert (found.outcome, found.error_mmHg, found.sd_mmHg) == (
            FOUND, calibration.error_mmHg, calibration.outcome.sd_mmHg)
        assert (found.slope_ratio, found.search_s) == (calibration.slope_ratio, calibration.search_s)
        assert found.clamp_slope_ratio == calibration.clamp_slope_ratio
        assert found.stable and 5.0 < found.crossover_Hz < 100.0
    # one finger, one set of fixed slopes; a slope found too large makes a lower gain and a lower crossover
    assert rows[0][15:21] == rows[1][15:21]
    assert (rows[0].slope_ratio > rows[1].slope_ratio) == (rows[0].crossover_Hz < rows[1].crossover_Hz)


def test_what_cannot_be_measured(bench):
    for defect, reason in (("no_pulse", "no pulse"), ("light_saturated", "light saturated")):
        for found in finger_rows(bench, find_finger(f"mixed-1-0002-{defect}")):
            assert (found.defect, found.outcome) == (defect, reason)
            assert math.isnan(found.error_mmHg) and math.isnan(found.crossover_Hz) and not found.stable


def test_a_bench_refuses_what_it_cannot_use():
    with pytest.raises(InputError, match="not a built-in rig"):
        make_bench(PLAN._replace(rig="nobody"))
    with pytest.raises(InputError, match="strategy = 'x' is not known"):
        make_bench(PLAN._replace(strategies=("x",)))
    assert set(Row._fields) >= {"error_mmHg", "crossover_Hz", "middle_stable"}
