"""Discretisation formulas against their own definitions: s replaced, poles mapped, gains kept, refined to the limit."""
import cmath
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.tick.discretise import METHODS, derivative, integrator, lead, notch, rule

T = 1e-3
corners = st.floats(1.0, 2000.0)  # rad/s
dampings = st.floats(1e-3, 3.0)
points = st.builds(lambda size, angle: size * cmath.exp(1j * angle), st.floats(1.05, 4.0), st.floats(0.05, 3.0))
prewarps = st.sampled_from([0.0, 7.0, 40.0, 210.0])


def lead_s(s, zero, pole):
    return (1.0 + s / zero) / (1.0 + s / pole)


def notch_s(s, omega, zero_damping, pole_damping):
    return (s * s + 2 * zero_damping * omega * s + omega**2) / (s * s + 2 * pole_damping * omega * s + omega**2)


def pid_s(s, gain, filter_s):
    return gain / s, gain * s / (1.0 + filter_s * s)


def at(section, z):
    """A section's gain at a point of the z plane."""
    name = type(section).__name__
    if name == "FirstOrder":
        return (section.b0 + section.b1 / z) / (1.0 + section.a1 / z)
    if name == "Biquad":
        return (section.b0 + section.b1 / z + section.b2 / z**2) / (1.0 + section.a1 / z + section.a2 / z**2)
    if name == "Integrator":
        return (section.new + section.old / z) / (1.0 - 1.0 / z)
    return section.gain * (1.0 - 1.0 / z) / (1.0 - section.pole / z)


def replaced(method, z, prewarp_Hz):
    """s as each method's definition writes it."""
    if method == "backward_euler":
        return (z - 1.0) / (T * z)
    omega = 2 * math.pi * prewarp_Hz
    rate = omega / math.tan(omega * T / 2) if omega else 2 / T
    return rate * (z - 1.0) / (z + 1.0)


@pytest.mark.parametrize("method", ["tustin", "backward_euler"])
@given(zero=corners, pole=corners, damping=dampings, depth=st.floats(0.0, 1.0), filter_s=st.floats(1e-4, 1.0), z=points,
       prewarp_Hz=prewarps)
def test_sections_are_the_continuous_ones_with_s_replaced(method, zero, pole, damping, depth, filter_s, z, prewarp_Hz):
    by, s = rule(method, T, prewarp_Hz), replaced(method, z, prewarp_Hz)
    assert at(lead(zero, pole, by), z) == pytest.approx(lead_s(s, zero, pole), rel=1e-9)
    assert at(notch(zero, depth * damping, damping, by), z) == pytest.approx(
        notch_s(s, zero, depth * damping, damping), rel=1e-7, abs=1e-9)
    integral, rate = pid_s(s, 0.7, filter_s)
    assert at(integrator(0.7, by), z) == pytest.approx(integral, rel=1e-9)
    assert at(derivative(0.7, filter_s, by), z) == pytest.approx(rate, rel=1e-9)


@given(zero=corners, pole=corners, damping=dampings, filter_s=st.floats(1e-3, 1.0), prewarp_Hz=st.floats(1.0, 400.0))
def test_prewarped_tustin_is_exact_at_its_frequency(zero, pole, damping, filter_s, prewarp_Hz):
    """P(jω) = Pd(e^{jωT}) at the prewarp frequency: the property that defines prewarping."""
    by, s = rule("tustin", T, prewarp_Hz), 2j * math.pi * prewarp_Hz
    z = cmath.exp(s * T)
    assert at(lead(zero, pole, by), z) == pytest.approx(lead_s(s, zero, pole), rel=1e-9)
    assert at(notch(zero, 0.1 * damping, damping, by), z) == pytest.approx(
        notch_s(s, zero, 0.1 * damping, damping), rel=1e-8, abs=1e-10)
    integral, rate = pid_s(s, 0.7, filter_s)
    assert at(integrator(0.7, by), z) == pytest.approx(integral, rel=1e-9)
    assert at(derivative(0.7, filter_s, by), z) == pytest.approx(rate, rel=1e-9)


@given(zero=corners, pole=corners, damping=dampings, filter_s=st.floats(1e-4, 1.0))
def test_matched_roots_are_the_exponentials_of_the_continuous_ones(zero, pole, damping, filter_s):
    by = rule("matched", T)
    first = lead(zero, pole, by)
    assert -first.a1 == pytest.approx(math.exp(-pole * T), rel=1e-12)
    assert -first.b1 / first.b0 == pytest.approx(math.exp(-zero * T), rel=1e-12)
    second = notch(pole, 0.1 * damping, damping, by)
    for ratio, total, product in ((damping, second.a1, second.a2),
                                  (0.1 * damping, second.b1 / second.b0, second.b2 / second.b0)):
        root = pole * (-ratio + cmath.sqrt(ratio**2 - 1.0))  # a continuous root; its image solves the z polynomial
        for z in (cmath.exp(root * T), cmath.exp(root.conjugate() * T)):
            assert abs(z * z + total * z + product) < 1e-12
    assert derivative(0.7, filter_s, by).pole == pytest.approx(math.exp(-T / filter_s), rel=1e-12, abs=1e-15)


@pytest.mark.parametrize("method", METHODS)
@given(zero=st.floats(30.0, 2000.0), pole=st.floats(30.0, 2000.0), damping=dampings, depth=st.floats(0.0, 1.0),
       filter_s=st.floats(1e-4, 1.0))
def test_every_method_keeps_the_gain_at_zero_frequency(method, zero, pole, damping, depth, filter_s):
    """Lead and notch: one. Integrator: gain·T a tick for a constant. Derivative: gain times the slope of a ramp."""
    by = rule(method, T)
    assert at(lead(zero, pole, by), 1.0) == pytest.approx(1.0, rel=1e-9)
    assert at(notch(zero, depth * damping, damping, by), 1.0) == pytest.approx(1.0, rel=1e-8)
    weights = integrator(0.7, by)
    assert weights.new + weights.old == pytest.approx(0.7 * T, rel=1e-12)
    rate = derivative(0.7, filter_s, by)
    assert rate.gain / (1.0 - rate.pole) == pytest.approx(0.7 / T, rel=1e-9)


@pytest.mark.parametrize("method", METHODS)
@given(zero=corners, pole=corners, damping=dampings, filter_s=st.floats(1e-6, 1.0), prewarp_Hz=prewarps)
def test_poles_stay_inside_the_unit_circle(method, zero, pole, damping, filter_s, prewarp_Hz):
    by = rule(method, T, prewarp_Hz)
    assert abs(lead(zero, pole, by).a1) < 1.0
    second = notch(zero, 0.1 * damping, damping, by)
    assert abs(second.a2) < 1.0
    assert abs(second.a1) < 1.0 + second.a2  # Jury's conditions of order two
    assert abs(derivative(0.7, filter_s, by).pole) < 1.0


@pytest.mark.parametrize(("method", "order"), [("tustin", 2), ("matched", 2), ("backward_euler", 1)])
def test_error_vanishes_with_the_tick_at_the_methods_order(method, order):
    """Ten times the tick rate: a hundredth of the error, a tenth for backward Euler. Common practice."""
    s = 2j * math.pi * 20.0

    def error(period):
        by, z = rule(method, period), cmath.exp(s * period)
        exact = lead_s(s, 60.0, 400.0) * notch_s(s, 300.0, 0.05, 0.4)
        return abs(at(lead(60.0, 400.0, by), z) * at(notch(300.0, 0.05, 0.4, by), z) - exact)

    assert np.log10(error(1e-4) / error(1e-5)) == pytest.approx(order, abs=0.1)


def test_derivative_without_gain_has_no_pole():
    for method in METHODS:
        assert derivative(0.0, 0.01, rule(method, T)) == (0.0, 0.0)


@pytest.mark.parametrize("method", ["backward_euler", "matched"])
def test_derivative_without_filter_is_the_difference_of_one_tick(method):
    assert derivative(0.7, 0.0, rule(method, T)) == pytest.approx((0.0, 0.7 / T), rel=1e-12)
