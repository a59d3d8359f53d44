"""Ultimate point and lag with dead time from exact responses."""
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.margins.loop import open_loop as rig_loop
from controller.margins.loop import sampled
from controller.margins.margins import open_loop
from controller.response import Zpk, response
from controller.tuning.reduced import Ultimate, delayed_lag, ultimate_point
from plant.errors import InputError


def zpk(poles, gain, delay_s=0.0):
    return Zpk(np.zeros(0, complex), np.array(poles, complex), float(gain), 0.0, delay_s)


@given(st.floats(1e-3, 1e3), st.floats(0.02, 20), st.floats(0.01, 5))
def test_a_lag_with_dead_time_is_found_again(gain, time, delay):
    plant = zpk([-1.0 / time], gain / time, delay)
    found = delayed_lag(plant, ultimate_point(open_loop(plant)))
    assert found == pytest.approx((gain / time, time, delay), rel=1e-4)


@given(st.floats(1e-3, 1e3), st.floats(0.01, 5))
def test_an_integrator_with_dead_time_is_found_again(gain, delay):
    """Its ultimate point is Ku = π/(2 k L), Tu = 4 L."""
    plant = zpk([0.0], gain, delay)
    ultimate = ultimate_point(open_loop(plant))
    assert ultimate == pytest.approx((math.pi / (2.0 * gain * delay), 4.0 * delay), rel=1e-6)
    found = delayed_lag(plant, ultimate)
    assert found.time_s == math.inf and found[::2] == pytest.approx((gain, delay), rel=1e-6)


def test_at_the_ultimate_point_the_plant_is_real_and_the_inverse_of_the_gain(make_loop):
    """Of a rig's sampled plant, whatever controller stands in its loop."""
    loop = make_loop()
    ultimate = ultimate_point(rig_loop(loop))
    there = response(sampled(loop), ultimate.omega_rad_s)
    assert there.real == pytest.approx(-1.0 / ultimate.gain, rel=1e-9) and abs(there.imag) < 1e-9 * abs(there)
    assert ultimate == pytest.approx(ultimate_point(rig_loop(make_loop(gain=0.3))), rel=1e-9)


def test_a_plant_without_an_ultimate_point_is_refused():
    with pytest.raises(InputError, match="no ultimate gain"):
        ultimate_point(open_loop(zpk([-1.0], 1.0)))


def test_a_gain_that_does_not_fall_is_refused():
    plant = zpk([-1.0], 1.0, 0.1)
    rising = Zpk(np.array([-1e-3 + 0j]), np.array([-1e4 + 0j]), 1.0)
    with pytest.raises(InputError, match="does not fall"):
        delayed_lag(rising, ultimate_point(open_loop(plant)))


def test_a_slow_lag_is_told_from_an_integrator():
    """|P|⁻² = (ω² + 1/T²)/k'² at two frequencies, well below the ultimate one and at it, solved by hand."""
    plant = zpk([-2.0], 3.0, 0.4)
    found = delayed_lag(plant, Ultimate(1.0, 2.0 * math.pi / 5.0))
    assert found.time_s == pytest.approx(0.5, rel=1e-9) and found.gain_per_s == pytest.approx(3.0, rel=1e-9)
    assert found.dead_time_s == pytest.approx((math.pi - math.atan(2.5)) / 5.0)
