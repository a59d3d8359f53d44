"""A comparison summed up, against figures made by hand."""
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from experiments.calibration.schedule.measures import METRIC
from experiments.calibration.schedule.study import Study
from experiments.calibration.schedule.summary import efficient, summaries, summary_of
from tests.experiments.calibration.schedule.schedule_rows import NAN, made


def test_a_row_sums_up_its_fingers() -> None:
    runs = [
        made({"no pulse": 1}, mean_rms_ideal=3.0, mean_bias_ideal=1.0, mean_sd_ideal=2.0, lost_share=0.1,
             interruptions=2.0, recovery=10.0, unrecovered=1.0, longest_large=5.0, highest_cuff=150.0),
        made({"no pulse": 2, "timed out": 1}, mean_rms_ideal=4.0, mean_bias_ideal=-3.0, mean_sd_ideal=1.0,
             lost_share=0.3, interruptions=6.0, recovery=NAN, unrecovered=0.0, longest_large=50.0, highest_cuff=140.0),
        made(beats=0.0, lost_share=1.0),
    ]
    found = summary_of("cold", "every", runs)
    assert (found.fingers, found.silent, found.failures) == (3, 1, {"no pulse": 3, "timed out": 1})
    assert found.rms_mmHg == pytest.approx(math.sqrt((9.0 + 16.0) / 2.0)) and found.median_mmHg == 3.5
    # every finger has the same weight: bias is the mean of biases, variance that within plus that between
    assert found.mean == pytest.approx((-1.0, math.sqrt((4.0 + 1.0) / 2.0 + 4.0)))
    assert found.lost_share == pytest.approx(1.4 / 3.0) and found.interruptions_per_h == pytest.approx(8.0 / 1.5)
    assert (found.recovery_s, found.unrecovered, found.longest_large_s) == (10.0, 0.5, 50.0)
    assert found.highest_mmHg == 150.0


def test_fingers_that_never_showed_anything() -> None:
    found = summary_of("cold", "every", [made(beats=0.0, lost_share=1.0)] * 2)
    assert found.silent == 2 and math.isnan(found.rms_mmHg) and math.isnan(found.mean[0])


def test_the_frontier_of_a_hand_made_set() -> None:
    """By lost time: a point counts when nothing that loses no more has as little error."""
    points = [(0.10, 5.0), (0.02, 9.0), (0.05, 6.0), (0.05, 7.0), (0.20, 5.0), (0.30, 1.0), (0.01, NAN), (0.02, 9.5)]
    assert efficient(points) == [1, 2, 0, 5]
    assert efficient([]) == [] and efficient([(0.1, NAN)]) == []


POINT = st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 100.0))


@given(st.lists(POINT, max_size=12))
def test_the_frontier_is_what_no_other_point_beats(points: list[tuple[float, float]]) -> None:
    """Each one on it is beaten by none in both; each one off it is, or is met by one that is on it."""
    best = efficient(points)
    for i, (lost, error) in enumerate(points):
        beaten = any(a <= lost and b <= error and (a, b) != (lost, error) for a, b in points)
        if i in best:
            assert not beaten
        else:
            assert beaten or any(points[k] == (lost, error) for k in best)


def test_rows_of_a_comparison(comparison: Study) -> None:
    """One a scenario and schedule, then all scenarios together; each scenario has a frontier."""
    rows = summaries(comparison)
    assert [(r.scenario, r.schedule) for r in rows] == [
        (s, n) for s in ("quiet", "cold", "all") for n in ("never", "growing", "steady")
    ]
    assert [r.fingers for r in rows] == [2] * 6 + [4] * 3
    for scenario in ("quiet", "cold", "all"):
        assert any(r.efficient for r in rows if r.scenario == scenario)
    figures = comparison.figures()[..., METRIC["lost_share"]]
    for i in range(3):
        assert rows[6 + i].lost_share == pytest.approx(np.mean(figures[i]))
        assert rows[3 + i].lost_share == pytest.approx(np.mean(figures[i, 1]))
