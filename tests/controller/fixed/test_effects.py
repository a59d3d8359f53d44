"""Dead bands, limit cycles, blind errors and stalls: each formula against a search or a run of the words."""
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.fixed.effects import (
    blind_error,
    blind_error_narrow,
    cycle_bound,
    dead_band,
    filter_cycles,
    largest_cycle,
    stall,
    stalls,
)
from controller.fixed.formats import plan
from controller.protection.watched import lagged
from tests.controller.fixed.helper import LAW, RANGES, run


@settings(deadline=None, max_examples=40)
@given(st.integers(-32000, 32000))
def test_the_search_of_a_first_order_filter_finds_its_dead_band(word):
    pole = word / 32768.0
    assert largest_cycle(-pole, 0.0, 15, dead_band(pole) + 1) in (dead_band(pole), max(dead_band(pole) - 1, 0))


def test_a_pole_on_the_circle_has_no_dead_band():
    with pytest.raises(ValueError, match="unit circle"):
        dead_band(1.0)
    assert cycle_bound(-2.0, 1.0) == math.inf


@settings(deadline=None, max_examples=15)
@given(st.floats(0.3, 0.9), st.floats(0.2, 2.8))
def test_no_limit_cycle_goes_beyond_the_norm(radius, angle):
    a1, a2 = -2.0 * radius * math.cos(angle), radius**2
    assert largest_cycle(a1, a2, 24, 24) <= cycle_bound(a1, a2) + 1e-6


def test_the_filters_of_a_law_stay_in_their_bounds():
    law, formats = plan(LAW, 16, RANGES)
    found = filter_cycles(law, formats)
    assert set(found) == {"lead", "notch", "derivative"}
    for one in found.values():
        assert one.found_steps <= one.bound_steps


def test_below_the_blind_error_the_integral_stands_still_and_above_it_moves():
    plain = LAW._replace(lead_b0=1.0, lead_b1=0.0, lead_a1=0.0, notch_b0=1.0, notch_b1=0.0, notch_b2=0.0, notch_a1=0.0,
                         notch_a2=0.0)
    law, formats = plan(plain, 16, RANGES)
    blind = blind_error(law)
    for share, moves in ((0.8, False), (1.2, True)):
        rows = run(law, [share * blind] * 50)
        assert (rows[-1][1].integral != rows[1][1].integral) is moves
    assert blind_error_narrow(law, formats) > 2.0 * blind
    assert blind_error_narrow(law._replace(integral_new=0, integral_old=0), formats) == 0.0


def test_a_lag_in_single_precision_stops_where_it_is_said_to():
    """100 with a memory of 60 s at 1 kHz ends 0.229 short."""
    said = stall("mean", 60.0, 1e-3, 16)
    value, target = np.float32(0.0), np.float32(100.0)
    share = np.float32(1e-3) / (np.float32(60.0) + np.float32(1e-3))
    for _ in range(1_500_000):
        after = value + (target - value) * share
        if after == value:
            break
        value = after
    step = np.spacing(np.float32(64.0)) / 64.0
    assert said.single == pytest.approx(0.5 * step * 60_001.0)
    assert 0.9 * said.single * 64.0 < target - value <= 1.01 * said.single * 100.0
    assert lagged(99.99, 100.0, 60.0, 1e-3) > 99.99  # and double precision goes on


def test_stalls_are_listed_longest_first_without_those_that_remember_nothing():
    found = stalls({"a": 1.0, "b": 60.0, "none": 0.0}, 1e-3, 16)
    assert [one.name for one in found] == ["b", "a"]
    assert found[0].words == pytest.approx(0.5 * 2.0**-15 * 60_001.0)
