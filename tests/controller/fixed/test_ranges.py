"""Ranges: L1 norms bound what a filter makes of any input, and the worst input comes up to them."""
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.fixed.ranges import LEAST_mmHg, impulse, norms, ranges_of, ranges_seen
from controller.tick.law import control_demand, control_settle, initial_control
from tests.controller.fixed.helper import LAW


def signals(errors):
    """Lead, notch and derivative of the real law on each tick."""
    state, rows = initial_control(), []
    for error in errors:
        demand, terms = control_demand(LAW, state, float(error))
        state = control_settle(LAW, state, terms, demand)
        rows.append((terms.lead, terms.notch, terms.derivative))
    return np.array(rows)


@settings(deadline=None, max_examples=30)
@given(st.lists(st.floats(-7.0, 7.0), min_size=1, max_size=60))
def test_no_input_goes_beyond_the_norms(errors):
    assert np.all(np.abs(signals(errors)) <= 7.0 * np.array(norms(LAW)) * (1 + 1e-9))


@pytest.mark.parametrize("column", [0, 1, 2])
def test_the_worst_input_comes_up_to_the_norm(column):
    h = impulse(LAW)[:, column]
    worst = np.sign(h[::-1])
    assert abs(signals(worst)[-1, column]) == pytest.approx(norms(LAW)[column], rel=1e-6)


def test_ranges_grow_with_what_a_run_has_shown_and_never_fall_below_their_least():
    small, large = ranges_seen(LAW, 1.0, 0.01, 0.05), ranges_seen(LAW, 50.0, 0.01, 3.0)
    assert small.error_mmHg == LEAST_mmHg and large.error_mmHg == 256.0
    assert large.demand == pytest.approx(12.0)
    assert ranges_of(LAW, 64.0, 1e9, 2.0).rate == pytest.approx(norms(LAW)[2] * 64.0)
