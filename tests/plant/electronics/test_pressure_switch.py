"""Over-pressure switch: own transducer, hold time, latch."""
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.electronics.pressure_switch import PressureSwitch, idle_switch, switch_step

PART = PressureSwitch(limit_mmHg=285.0, hold_s=0.01, bandwidth_Hz=150.0)


def ran(pressure, ticks, part=PART, gain=1.0, offset=0.0, state=None, powered=True):
    state = state or idle_switch()
    for _ in range(ticks):
        state = switch_step(part, state, pressure, gain, offset, powered, 0.001)
    return state


@given(st.floats(0.0, 600.0))
def test_it_trips_above_its_limit_and_only_there(pressure):
    assert ran(pressure, 100).tripped == (pressure > 285.0 + 1e-9)


@given(st.integers(0, 8))
def test_a_short_peak_does_not_trip_it(ticks):
    assert not ran(200.0, 50, state=ran(400.0, ticks)).tripped


def test_it_stays_tripped_until_power_is_cycled():
    tripped = ran(400.0, 50)
    assert tripped.tripped and ran(0.0, 1000, state=tripped).tripped
    assert not ran(0.0, 1, state=tripped, powered=False).tripped


def test_one_that_is_taken_away_still_measures():
    state = ran(400.0, 100, PART._replace(enabled=False))
    assert not state.tripped and state.sensed_mmHg == pytest.approx(400.0)


@given(st.floats(0.5, 1.5), st.floats(-50.0, 50.0))
def test_its_transducer_has_errors_of_its_own(gain, offset):
    assert ran(100.0, 200, gain=gain, offset=offset).sensed_mmHg == pytest.approx(gain * 100.0 + offset)


def test_its_lag_is_first_order():
    assert ran(100.0, 1).sensed_mmHg == pytest.approx(100.0 * (1.0 - math.exp(-2.0 * math.pi * 0.15)))


def test_at_its_limit_and_at_its_hold_time_it_has_not_tripped_yet():
    """Ticks of 2⁻¹⁰ s add up exactly: above the limit for eight of eight is not longer, nine are."""
    part, tick = PART._replace(hold_s=8 * 2.0**-10), 2.0**-10
    for pressure, ticks, tripped in ((285.0, 50, False), (300.0, 8, False), (300.0, 9, True)):
        state = idle_switch()._replace(sensed_mmHg=pressure)
        for _ in range(ticks):
            state = switch_step(part, state, pressure, 1.0, 0.0, True, tick)
        assert state.sensed_mmHg == pressure and state.tripped == tripped
