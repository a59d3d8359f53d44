import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from experiments.readings.limits.solve import availability as by_formula
from experiments.trend.windows import availability, slope_h, window_means
from tests.experiments.trend.one_study import one_study


@given(st.floats(5.0, 200.0), st.floats(1.0, 20.0), st.floats(3.0, 60.0), st.integers(1, 30))
def test_windows_of_regular_gaps_are_those_of_the_formula(run, gap, window, count):
    begins = np.arange(count) * (run + gap)
    shown = np.stack([begins, begins + run], axis=1)
    assert availability(shown, count * (run + gap), window) == pytest.approx(by_formula(run, gap, window))


def test_availability_by_hand():
    """A gap of 5 s each 34 s (published worked numbers of the method: 56, 36 and 10 %)."""
    shown = np.array([[0.0, 34.0]])
    assert [round(100 * availability(shown, 39.0, w)) for w in (12.0, 20.0, 30.0)] == [56, 36, 10]


def test_means_and_slopes_leave_out_what_is_not_there():
    number = np.repeat(np.arange(3), [8, 8, 7])
    values = np.concatenate([np.full(8, 2.0), [np.nan], np.full(14, 4.0)])
    assert window_means(number, values, 4)[0] == 2.0 and np.isnan(window_means(number, values, 4)[1:]).all()
    time = np.arange(10) * 360.0
    assert slope_h(time, np.where(time < 400.0, np.nan, 3.0 * time / 3600.0)) == pytest.approx(3.0)
    assert np.isnan(slope_h(time[:2], time[:2]))


def test_a_course_has_the_truth_beside_it():
    row = one_study()[0].rows[1]
    course = row.course
    assert course.time_s[:2] == pytest.approx([10.0, 30.0]) and course.shown[0] < 0.5 and course.whole[2]
    kept = np.isfinite(course.output_L_min)
    assert np.count_nonzero(kept) >= 5
    assert course.output_L_min[kept] == pytest.approx(course.true_output_L_min[kept], rel=0.1)
    assert np.all(np.isfinite(course.variation_percent[course.whole]))
