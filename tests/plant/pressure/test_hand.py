"""The way of a hand: its time, its straight and its smooth course, and the three that model it agree."""
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.pressure.events import HandRaised
from plant.pressure.hand import QUICK_m_s, USUAL_m_s, smooth, straight, way_s
from plant.scenarios.events import HandMove


@given(st.floats(-1.0, 1.0), st.floats(0.005, 2.0), st.floats(0.0, 1.0))
def test_a_way_takes_its_time(height, speed, least):
    assert way_s(height, speed, least) == way_s(-height, speed, least) >= least
    assert way_s(height, speed) * speed == pytest.approx(abs(height))


@given(st.floats(-5.0, 5.0), st.floats(0.1, 20.0))
def test_courses(start, ramp):
    time = np.linspace(start - 1.0, start + ramp + 1.0, 501)
    share = straight(time, start, ramp)
    assert share[0] == 0.0 and share[-1] == 1.0 and np.all(np.diff(share) >= 0.0)
    assert straight(np.array([start + 0.5 * ramp]), start, ramp)[0] == pytest.approx(0.5)
    round_ = smooth(share)
    assert np.all(np.diff(round_) >= -1e-12) and np.max(np.abs(round_ - share)) < 0.1


def test_whoever_does_not_say_moves_it_as_published():
    assert HandRaised().speed_m_s == HandMove().speed_m_s == USUAL_m_s == 0.04
    assert way_s(0.4, QUICK_m_s) == 4.0 and way_s(0.4, USUAL_m_s) == 10.0
