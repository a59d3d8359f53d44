"""Dump valve: held by power, opened by spring, exact from tick to tick."""
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.pneumatics.dump_valve import DumpValve, dump_holds, dump_step

PART = DumpValve(hold_power=0.6, opening_s=0.004)


@given(st.floats(0.0, 1.0), st.booleans())
def test_only_power_that_nobody_takes_away_holds_it(power, released):
    assert dump_holds(PART, power, released) == (power >= 0.6 and not released)
    assert dump_holds(PART._replace(enabled=False), power, released), "one that is taken away is stuck shut"


@given(st.floats(0.0, 1.0), st.integers(1, 50))
def test_opening_is_first_order_whatever_the_ticks(opening, pieces):
    """Many short ticks are one long one: the step is exact."""
    many = opening
    for _ in range(pieces):
        many = dump_step(PART, many, False, 0.01 / pieces)
    assert many == pytest.approx(1.0 + (opening - 1.0) * math.exp(-0.01 / 0.004), abs=1e-12)


def test_a_closed_valve_is_shut_in_the_end():
    opening = 1.0
    for _ in range(200):
        opening = dump_step(PART, opening, True, 0.001)
    assert opening == 0.0
