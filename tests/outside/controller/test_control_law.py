"""The control law against textbooks, closed forms, SciPy and python-control.

Tags: [seen] read in the published text, [memory, high/medium/low] not looked up, [computed] mathematics.
"""
import math

import control
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numba import njit
from scipy import signal

from controller.response import response
from controller.tick.discretise import derivative, integrator, lead, notch, rule
from controller.tick.law import (
    Controller,
    ControllerState,
    block_gains,
    control_demand,
    control_settle,
    control_step,
    design,
    initial_control,
)
from plant.electronics.converter import convert

T = 1e-3
few = settings(max_examples=50, deadline=None)
corners = st.floats(20.0, 2500.0)  # rad/s
dampings = st.floats(0.02, 1.5)
depths = st.floats(0.01, 0.9)


def demands(law, error, period):
    """Demand on each tick, from rest, nothing limited."""
    coefficients, state, found = design(law, period), initial_control(), []
    for value in error:
        demand, terms = control_demand(coefficients, state, float(value))
        state = control_settle(coefficients, state, terms, demand)
        found.append(demand)
    return np.array(found)


# --- golden coefficients ---------------------------------------------------------------------------------------------

GOLDEN_PID = Controller(kp=2.0, ti_s=0.5, td_s=0.05, filter_ratio=10.0, output_bits=0)


@pytest.mark.parametrize("omega", [0.1, 1.0, 10.0, 100.0, 300.0])
def test_tustin_pid_is_the_golden_one_at_every_frequency(omega):
    """Kp = 2, Ti = 0.5, Td = 0.05, N = 10, T = 0.01 → (12.02 z² − 21.98 z + 10)/(z² − z) [computed]."""
    z = np.exp(1j * omega * 0.01)
    golden = (12.02 * z**2 - 21.98 * z + 10.0) / (z**2 - z)
    assert response(design(GOLDEN_PID, 0.01), omega) == pytest.approx(golden, rel=1e-11)


def test_tustin_pid_is_the_golden_one_in_time():
    """Long division of (12.02 − 21.98 q + 10 q²)/(1 − q): 12.02, then −9.96, then 0.04 for ever [computed]."""
    pulse = demands(GOLDEN_PID, [1.0] + [0.0] * 9, 0.01)
    assert pulse == pytest.approx([12.02, -9.96] + [0.04] * 8, rel=1e-9)


def test_golden_lead():
    """(1 + 0.016 s)/(1 + 0.00214 s) at T = 1 ms → (6.25 z − 5.87121)/(z − 0.62121) [computed]."""
    found = lead(1.0 / 0.016, 1.0 / 0.00214, rule("tustin", T))
    assert found == pytest.approx((33.0 / 5.28, -31.0 / 5.28, -3.28 / 5.28), rel=1e-12)
    assert found == pytest.approx((6.25, -5.87121, -0.62121), abs=5e-6)
    c = design(Controller(lead_zero_Hz=1.0 / (0.016 * 2 * math.pi), lead_pole_Hz=1.0 / (0.00214 * 2 * math.pi)), T)
    assert (c.lead_b0, c.lead_b1, c.lead_a1) == pytest.approx(found, rel=1e-12)


def test_warping_puts_40_hz_at_39_791_hz():
    """ω_d = (2/T) atan(ωT/2): a notch drawn for 40 Hz, without prewarp, bites at 39.791 Hz [computed]."""
    law = Controller(notch_Hz=40.0, notch_width_Hz=4.0, notch_depth_dB=60.0)
    frequencies = np.arange(39.0, 41.0, 1e-4)

    def deepest(version):
        coefficients = design(version, T)
        return frequencies[np.argmin([abs(block_gains(coefficients, 2 * math.pi * f)[1]) for f in frequencies])]

    assert deepest(law) == pytest.approx(39.791, abs=5e-4)
    assert deepest(law) == pytest.approx(math.atan(2 * math.pi * 40.0 * T / 2) / (math.pi * T), abs=2e-4)
    assert deepest(law._replace(prewarp_Hz=40.0)) == pytest.approx(40.0, abs=2e-4)


# --- lead ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("ratio", "degrees"), [(3.0, 30.00), (5.0, 41.81), (7.477, 49.82), (10.0, 54.90)])
def test_largest_phase_of_a_lead(ratio, degrees):
    """φmax = asin((α − 1)/(α + 1)) at ωz √α (Ogata; Franklin) [formula memory, high; figures computed].

    Tustin bends the frequency axis only, so prewarped at that frequency the sampled lead has the same maximum there.
    """
    zero, centre = 12.0, 12.0 * math.sqrt(ratio)
    coefficients = design(Controller(lead_zero_Hz=zero, lead_pole_Hz=zero * ratio, prewarp_Hz=centre), T)
    frequencies = np.append(np.geomspace(1.0, 450.0, 2001), centre)
    phase = np.degrees([np.angle(block_gains(coefficients, 2 * math.pi * f)[0]) for f in frequencies])
    assert phase[-1] == pytest.approx(degrees, abs=0.005)
    assert phase[-1] == pytest.approx(math.degrees(math.asin((ratio - 1) / (ratio + 1))), abs=1e-9)
    assert np.all(phase <= phase[-1] + 1e-9)


# --- difference equations of the textbooks ---------------------------------------------------------------------------


@given(st.floats(1e-3, 1.0), st.floats(2.0, 20.0), st.floats(0.01, 10.0))
def test_backward_difference_derivative(td, n, gain):
    """D_k = Td/(Td + N h) D_{k−1} + K Td N/(Td + N h) (e_k − e_{k−1}) (Åström & Hägglund, PID Controllers)
    [memory, high]."""
    found = derivative(gain * td, td / n, rule("backward_euler", T))
    assert found == pytest.approx((td / (td + n * T), gain * td * n / (td + n * T)), rel=1e-9)


@given(st.floats(1e-3, 10.0), st.floats(0.01, 10.0))
def test_integral_as_a_sum_and_as_a_trapezium(ti, gain):
    """I_k = I_{k−1} + K h/Ti e_k, and K h/(2 Ti) (e_k + e_{k−1}) (Åström & Wittenmark) [memory, high]."""
    assert integrator(gain / ti, rule("backward_euler", T)) == pytest.approx((gain * T / ti, 0.0), rel=1e-12)
    assert integrator(gain / ti, rule("tustin", T)) == pytest.approx((gain * T / ti / 2,) * 2, rel=1e-12)


def test_back_calculation_adds_h_over_tt_of_what_was_cut_off():
    """I_{k+1} = I_k + … + (h/Tt)(u − v) (Åström & Hägglund, PID Controllers) [memory, high]."""
    coefficients = design(Controller(kp=1.0, ti_s=1e3, tracking_time_s=0.02, output_bits=0), T)
    state, command, _ = control_step(coefficients, initial_control(), 0.0, 3.0)
    assert command == 1.0
    assert state.integral == pytest.approx(3.0 * T / 1e3 - T / 0.02 * 2.0, rel=1e-3)


# --- SciPy and python-control ----------------------------------------------------------------------------------------


def lead_polynomials(zero, pole):
    return [1.0 / zero, 1.0], [1.0 / pole, 1.0]


def notch_polynomials(omega, depth, damping):
    return [1.0, 2 * depth * damping * omega, omega**2], [1.0, 2 * damping * omega, omega**2]


def same(section, top, bottom, relative):
    """Whether a section's coefficients are those of top/bottom, scaled to a leading one below."""
    order = len(section) // 2
    ours = [*section[: order + 1], 1.0, *section[order + 1 :]]
    theirs = np.concatenate([np.ravel(top), np.ravel(bottom)]) / np.ravel(bottom)[0]
    assert ours == pytest.approx(theirs, rel=relative, abs=relative)


@pytest.mark.parametrize(("ours", "theirs"), [("tustin", "bilinear"), ("backward_euler", "backward_diff")])
@few
@given(zero=corners, pole=corners, depth=depths, damping=dampings)
def test_sections_are_scipys(ours, theirs, zero, pole, depth, damping):
    """scipy.signal.cont2discrete, bilinear and backward_diff [computed]."""
    top, bottom, _ = signal.cont2discrete(lead_polynomials(zero, pole), T, theirs)
    same(lead(zero, pole, rule(ours, T)), top, bottom, 1e-9)
    top, bottom, _ = signal.cont2discrete(notch_polynomials(pole, depth, damping), T, theirs)
    same(notch(pole, depth * damping, damping, rule(ours, T)), top, bottom, 1e-9)


@few
@given(zero=corners, pole=corners, depth=depths, damping=dampings, prewarp_Hz=st.floats(5.0, 300.0))
def test_prewarped_sections_are_python_controls(zero, pole, depth, damping, prewarp_Hz):
    """control.sample_system(method='tustin', prewarp_frequency) [computed]."""
    by, omega = rule("tustin", T, prewarp_Hz), 2 * math.pi * prewarp_Hz
    found = control.sample_system(control.tf(*lead_polynomials(zero, pole)), T, "tustin", prewarp_frequency=omega)
    same(lead(zero, pole, by), found.num[0][0], found.den[0][0], 1e-9)
    found = control.sample_system(control.tf(*notch_polynomials(pole, depth, damping)), T, "tustin",
                                  prewarp_frequency=omega)
    same(notch(pole, depth * damping, damping, by), found.num[0][0], found.den[0][0], 1e-9)


@few
@given(zero=corners, pole=corners, depth=depths, damping=dampings)
def test_matched_sections_are_python_controls(zero, pole, depth, damping):
    """control.sample_system(method='matched') [computed]; it finds roots numerically, hence 1e-9 of absolute room."""
    by = rule("matched", T)
    found = control.sample_system(control.tf(*lead_polynomials(zero, pole)), T, "matched")
    same(lead(zero, pole, by), found.num[0][0], found.den[0][0], 1e-9)
    found = control.sample_system(control.tf(*notch_polynomials(pole, depth, damping)), T, "matched")
    same(notch(pole, depth * damping, damping, by), found.num[0][0], found.den[0][0], 1e-9)


# SciPy goes by way of one state space of order five, whose companion matrix it finds ill-conditioned
ILL_CONDITIONED = pytest.mark.filterwarnings("ignore:An ill-conditioned matrix")
WHOLE = Controller(kp=0.03, ti_s=0.08, td_s=0.006, filter_ratio=8.0, lead_zero_Hz=15.0, lead_pole_Hz=120.0,
                   notch_Hz=90.0, notch_width_Hz=25.0, notch_depth_dB=26.0, output_bits=0)


def whole_polynomials(law):
    """The continuous controller multiplied out, top and bottom."""
    td, ti, n = law.td_s, law.ti_s, law.filter_ratio
    pid = [law.kp * (td / n + td) * ti, law.kp * (ti + td / n), law.kp], [ti * td / n, ti, 0.0]
    turn = 2 * math.pi
    first = lead_polynomials(turn * law.lead_zero_Hz, turn * law.lead_pole_Hz)
    depth, damping = 10 ** (-law.notch_depth_dB / 20), law.notch_width_Hz / law.notch_Hz / 2
    second = notch_polynomials(turn * law.notch_Hz, depth, damping)
    return [np.polymul(np.polymul(a, b), c) for a, b, c in zip(pid, first, second, strict=True)]


@ILL_CONDITIONED
@pytest.mark.parametrize("prewarp_Hz", [0.0, 90.0])
def test_the_whole_controller_has_python_controls_response(prewarp_Hz):
    """The continuous controller as one transfer function, sampled in one piece by python-control [computed]."""
    kind = {"prewarp_frequency": 2 * math.pi * prewarp_Hz} if prewarp_Hz else {}
    whole = control.sample_system(control.tf(*whole_polynomials(WHOLE)), T, "tustin", **kind)
    coefficients = design(WHOLE._replace(prewarp_Hz=prewarp_Hz), T)
    for omega in 2 * math.pi * np.array([1.0, 5.0, 20.0, 80.0, 90.0, 200.0, 450.0]):
        assert response(coefficients, omega) == pytest.approx(whole(np.exp(1j * omega * T)), rel=1e-7)


@ILL_CONDITIONED
@pytest.mark.parametrize(("ours", "theirs"), [("tustin", "bilinear"), ("backward_euler", "backward_diff")])
def test_the_whole_controller_runs_like_scipys_filter(ours, theirs):
    """scipy.signal.lfilter on the controller multiplied out and sampled by SciPy, 500 ticks of noise [computed]."""
    top, bottom, _ = signal.cont2discrete(whole_polynomials(WHOLE), T, theirs)
    error = np.random.default_rng(7).normal(0.0, 5.0, 500)
    reference = signal.lfilter(np.ravel(top), bottom, error)
    found = demands(WHOLE._replace(method=ours), error, T)
    assert found == pytest.approx(reference, rel=1e-6, abs=1e-8 * np.max(np.abs(reference)))


# --- anti-windup -----------------------------------------------------------------------------------------------------


@njit
def fill(coefficients, set_point, rate):
    """A plant that integrates the command, under the law; pressure and command on each tick."""
    state = ControllerState(0.0, 0.0, 0.0, 0.0, 0.0)
    pressure, command = 0.0, 0.0
    rows = np.empty((len(set_point), 2))
    for k in range(len(set_point)):
        state, command, _ = control_step(coefficients, state, command, set_point[k] - pressure)
        rows[k, 0], rows[k, 1] = pressure, command
        pressure += rate * command
    return rows


@pytest.mark.parametrize(("td", "time"), [(0.0, 0.4), (0.005, math.sqrt(0.4 * 0.005))])
def test_after_a_second_of_saturation_back_calculation_beats_plain_pid(td, time):
    """Tt = √(Ti Td), or Ti for PI (Åström & Hägglund; Åström & Murray Fig. 11.11) [seen; memory, high].

    What it must do [computed]: less overshoot and earlier recovery than without; nothing at all when never saturated.
    """
    law = Controller(kp=0.1, ti_s=0.4, td_s=td, output_bits=0)
    assert design(law, T).tracking_gain == pytest.approx(T / time, rel=1e-12)
    plain = design(law, T)._replace(tracking_gain=0.0)
    large, small = np.full(6000, 100.0), np.full(6000, 1.0)
    with_it, without = fill(design(law, T), large, 100.0 * T), fill(plain, large, 100.0 * T)
    assert np.argmax(without[:, 1] < 1.0) * T > 0.99  # a second at the limit
    overshoot = [np.max(rows[:, 0]) - 100.0 for rows in (with_it, without)]
    recovery = [np.flatnonzero(np.abs(rows[:, 0] - 100.0) > 2.0)[-1] * T for rows in (with_it, without)]
    assert overshoot[0] < 0.25 * overshoot[1]
    assert recovery[0] < 0.75 * recovery[1]
    untouched = fill(design(law, T), small, 100.0 * T)
    assert np.max(np.abs(untouched[:, 1])) < 1.0
    assert np.array_equal(untouched, fill(plain, small, 100.0 * T))


# --- quantiser -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("amplitude", [0.55, 1.0 / math.sqrt(2.0), 1.0, 1.4])
def test_describing_function_of_the_mid_tread_quantiser_on_its_first_step(amplitude):
    """N(A) = (4q/πA) √(1 − (q/2A)²) for q/2 < A < 3q/2 [computed; Gelb & Vander Velde, memory, high]."""
    angle = (np.arange(200_000) + 0.5) * 2 * math.pi / 200_000
    readings = np.array([convert(amplitude * s, -10.0, 10.0, 1.0) for s in np.sin(angle)])
    gain = 2.0 * np.mean(readings * np.sin(angle)) / amplitude
    assert gain == pytest.approx(4.0 / (math.pi * amplitude) * math.sqrt(1.0 - (0.5 / amplitude) ** 2), rel=1e-3)
    assert gain <= 4.0 / math.pi * (1.0 + 1e-3)  # its maximum, at A = q/√2
    if amplitude == 1.0 / math.sqrt(2.0):
        assert gain == pytest.approx(1.2732, abs=1e-3)


@pytest.mark.parametrize("bits", [10, 14])
def test_noise_of_a_converter_is_a_twelfth_of_a_step_squared(bits):
    """Variance q²/12 and 6.02·bits + 1.76 dB for a full-scale sine (Bennett 1948) [memory, high]."""
    step = 2.0**-bits
    wave = 0.5 + 0.5 * np.sin(2 * math.pi * 0.5 * (math.sqrt(5.0) - 1.0) * np.arange(40_000))  # never repeats
    readings = np.array([convert(v, 0.0, 1.0, step) for v in wave])
    noise = readings - wave
    assert np.mean(noise**2) == pytest.approx(step**2 / 12.0, rel=0.02)
    assert 10 * math.log10(0.125 / np.mean(noise**2)) == pytest.approx(6.02 * bits + 1.76, abs=0.1)
