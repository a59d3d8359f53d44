"""Bounds on failure probabilities: their laws, and what they refuse."""
import pytest
from hypothesis import given
from hypothesis import strategies as st

from experiments.safety.faults.confidence import failure_bound, rate_bound_per_h, runs_needed
from plant.errors import InputError


@given(st.integers(1, 5000), st.data())
def test_more_failures_less_sure_and_more_runs_more_sure(runs, data):
    failures = data.draw(st.integers(0, runs))
    bound = failure_bound(failures, runs)
    assert failures / runs < bound <= 1.0 or bound == 1.0
    assert failure_bound(failures, runs + 1) < bound or bound == 1.0
    if failures < runs:
        assert failure_bound(failures + 1, runs) > bound
        assert failure_bound(failures, runs, 0.99) > bound


@given(st.floats(1e-5, 0.5), st.floats(0.5, 0.99))
def test_runs_needed_are_enough_and_not_one_too_many(probability, confidence):
    runs = runs_needed(probability, confidence)
    assert failure_bound(0, runs, confidence) <= probability * (1.0 + 1e-6)
    if runs > 1:
        assert failure_bound(0, runs - 1, confidence) > probability * (1.0 - 1e-6)


@given(st.integers(0, 50), st.floats(0.1, 1e5))
def test_a_rate_is_bounded_in_proportion_to_time(events, hours):
    assert rate_bound_per_h(events, 2.0 * hours) == pytest.approx(0.5 * rate_bound_per_h(events, hours))
    assert rate_bound_per_h(events, hours) > events / hours


@pytest.mark.parametrize("wrong", [
    lambda: failure_bound(-1, 10), lambda: failure_bound(11, 10), lambda: failure_bound(0, 0),
    lambda: failure_bound(0, 10, 1.0), lambda: runs_needed(0.0), lambda: rate_bound_per_h(0, 0.0),
    lambda: rate_bound_per_h(-1, 1.0), lambda: failure_bound(0, 10, float("nan")),
])
def test_nonsense_is_refused(wrong):
    with pytest.raises(InputError, match="must be"):
        wrong()
