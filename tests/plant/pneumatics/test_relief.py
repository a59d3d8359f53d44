"""Relief valve: cracking, hysteresis, flow by the restriction law."""
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.pneumatics.air import Air, restriction_flow
from plant.pneumatics.relief import Relief, relief_flow, relief_opens, relief_rate

PART = Relief(cracking_mmHg=295.0, reseat_mmHg=270.0, full_mmHg=300.0)


@given(st.floats(0.0, 600.0))
def test_it_cracks_above_one_pressure_and_reseats_below_another(pressure):
    assert relief_opens(PART, False, pressure) == (pressure > 295.0)
    assert relief_opens(PART, True, pressure) == (pressure > 270.0)


@given(st.floats(0.0, 1e4))
def test_one_that_is_taken_away_never_opens(pressure):
    assert not relief_opens(PART._replace(enabled=False), True, pressure)


@given(st.floats(0.0, 1.0), st.floats(0.0, 600.0))
def test_the_seat_moves_towards_its_target(lift, pressure):
    """Shut it falls; open it goes to the share of its span, and stands still there."""
    assert relief_rate(PART, False, lift, pressure) == pytest.approx(-lift / PART.lag_s)
    share = min(max((pressure - 270.0) / 30.0, 0.0), 1.0)
    assert relief_rate(PART, True, lift, pressure) == pytest.approx((share - lift) / PART.lag_s)


@given(st.floats(0.0, 1.0), st.floats(0.0, 600.0))
def test_flow_is_that_of_a_restriction_of_its_lift(lift, pressure):
    found = relief_flow(PART, Air(), lift, pressure)
    assert found == pytest.approx(restriction_flow(Air(), PART.conductance * lift, 0.3, pressure, 0.0))
    assert found >= 0.0


def test_just_at_its_pressures_it_rests():
    assert not relief_opens(PART, False, 295.0) and not relief_opens(PART, True, 270.0)
