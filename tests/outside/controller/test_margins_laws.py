"""Margins against laws of feedback, exact roots of delayed loops, and python-control's own code on random loops.

Tags as in the reference list: [seen] read in the published text, [memory] not looked up, [computed] mathematics.
"""
import cmath
import math
import warnings

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from controller.margins.margins import margins, open_loop
from controller.response import Unity, Zpk, response

TURN = 2 * math.pi


def zpk(zeros, poles, gain, period_s=0.0, delay_s=0.0):
    return Zpk(np.array(zeros, complex), np.array(poles, complex), float(gain), period_s, delay_s)


def held(part, period_s):
    """The part sampled behind a zero-order hold, by scipy's matrix exponential."""
    from scipy.signal import cont2discrete, zpk2ss

    a, b, c, d, _ = cont2discrete(zpk2ss(part.zeros, part.poles, part.gain), period_s)
    numerator = np.real(np.poly(a - b @ c)) + (d[0, 0] - 1.0) * np.real(np.poly(a))  # det(zI − a + b c) − det(zI − a)
    numerator = np.trim_zeros(np.where(np.abs(numerator) < 1e-14, 0.0, numerator), "f")
    return zpk(np.roots(numerator), np.exp(part.poles * period_s), numerator[0], period_s)


# --- exact roots ---------------------------------------------------------------------------------------------------


@settings(max_examples=80, deadline=None)
@given(st.floats(0.05, 20), st.floats(0.05, 5), st.booleans())
def test_exact_roots_of_delayed_first_order_loops(gain, delay, integrating):
    """Closed-loop roots of k e^{−θs}/(s + a) are s = W_n(−kθ e^{aθ})/θ − a, W_n Lambert's function [computed].

    Corless et al. 1996, Adv Comput Math 5:329 [memory, high]. Count, delay margin and gain margin must agree.
    """
    from scipy.special import lambertw

    pole = 0.0 if integrating else 1.0

    def roots(k, theta):
        branches = np.arange(-60, 60)
        return lambertw(-k * theta * np.exp(pole * theta), branches) / theta - pole

    found = margins(open_loop(zpk([], [-pole], gain, delay_s=delay)))
    real = roots(gain, delay).real
    assume(np.min(np.abs(real)) > 1e-6)
    assert found.unstable_closed_loop_poles == np.sum(real > 0)
    if found.gain_margin < 1e3:
        k = found.gain_margin * gain
        assert np.min(np.abs(roots(k, delay).real)) < 1e-9
    if found.stable and found.delay_margin_s < 50:
        assert np.max(roots(gain, delay + 0.98 * found.delay_margin_s).real) < 0
        assert np.max(roots(gain, delay + 1.02 * found.delay_margin_s).real) > 0
        assert np.min(np.abs(roots(gain, delay + found.delay_margin_s).real)) < 1e-9


# --- laws ---------------------------------------------------------------------------------------------------------


@st.composite
def stable_loops(draw):
    """Random loops, continuous with dead time or sampled, that are stable when closed."""
    poles = [-(10.0 ** draw(st.floats(-1, 1))) for _ in range(draw(st.integers(1, 3)))]
    poles += [0.0] * draw(st.integers(0, 1))
    gain = 10.0 ** draw(st.floats(-1.5, 1.5)) * abs(np.prod([p for p in poles if p]))
    part = zpk([], poles, gain, delay_s=draw(st.sampled_from([0.0, 0.05, 0.3, 1.0])))
    if draw(st.booleans()):
        part = held(part._replace(delay_s=0.0), draw(st.floats(0.02, 0.3)))
        part = part._replace(delay_s=part.period_s * draw(st.integers(0, 3)))
    found = margins(open_loop(part))
    assume(found.stable and found.modulus_margin > 1e-6)
    return part, found


@settings(max_examples=200, deadline=None)
@given(stable_loops())
def test_sensitivity_peak_guarantees(case):
    """GM ≥ Ms/(Ms−1), reduction ≤ Ms/(Ms+1), PM ≥ 2 asin(1/2Ms): Åström & Murray; Skogestad [memory, high]."""
    _, found = case
    peak = found.sensitivity_peak
    if peak > 1.0:
        assert found.gain_margin >= peak / (peak - 1.0) * (1 - 1e-9)
        assert found.gain_reduction_margin <= peak / (peak + 1.0) * (1 + 1e-9)
    if peak >= 0.5:
        assert abs(found.phase_margin_deg) >= 2 * math.degrees(math.asin(1 / (2 * max(peak, 0.5)))) * (1 - 1e-9)


def test_sensitivity_peak_figures():
    """Ms 1.4, 1.6, 2 guarantee 3.5, 2.667, 2 and 41.85, 36.42, 28.96° [computed]; a loop that comes as near is held."""
    for peak, gain, phase in ((1.4, 3.5, 41.85), (1.6, 2.667, 36.42), (2.0, 2.0, 28.96)):
        assert peak / (peak - 1) == pytest.approx(gain, abs=5e-4)
        assert 2 * math.degrees(math.asin(1 / (2 * peak))) == pytest.approx(phase, abs=5e-3)
        lag = zpk([], [-1, -1, -1], 8.0 / gain)  # gain margin exactly the figure: Ms can only be larger
        found = margins(open_loop(lag))
        assert found.gain_margin == pytest.approx(gain, rel=1e-9)
        assert found.sensitivity_peak >= peak * (1 - 1e-3)


def bode_integral(part):
    """∫ ln|1/(1 + L)| dω over all positive frequencies, by adaptive quadrature over our own response."""
    from scipy.integrate import quad

    def integrand(u):
        omega = u / (1.0 - u)
        return -math.log(abs(1.0 + response(part, omega))) / (1.0 - u) ** 2

    return quad(integrand, 0.0, 1.0 - 1e-9, limit=400, epsabs=1e-9, points=(0.3, 0.5, 0.7))[0]


@pytest.mark.parametrize(("part", "outside"), [(zpk([], [-1, -1, -1], 3), 0.0), (zpk([], [1, -10], 30), 1.0),
                                              (zpk([-1], [0.5, -4, -6, -1], 30), 0.5)])
def test_bode_integral(part, outside):
    """∫ ln|S| dω = π Σ Re p over unstable open-loop poles, relative degree two or more (Bode 1945; Freudenberg & Looze
    1985 [memory, high]; 2e-12 for 3/(s+1)³ [computed])."""
    assert margins(open_loop(part)).stable
    assert bode_integral(part) == pytest.approx(math.pi * outside, abs=1e-3)


@pytest.mark.parametrize(("per_period", "degrees"), [(25, 7.2), (20, 9.0), (30, 6.0)])
def test_hold_costs_half_a_period(per_period, degrees):
    """A hold delays by T/2: 40 Hz at 1 kHz 7.2°, fs = 20fc 9.0°, 30fc 6.0° [computed; Franklin & Powell, Åström &
    Wittenmark, memory, high]. An integrator behind a hold, kT/(z − 1), has exactly -90° − ωT/2."""
    crossover_Hz = 40.0
    period = 1 / (per_period * crossover_Hz)
    gain = 2 * math.sin(math.pi * crossover_Hz * period)  # |z − 1| there
    found = margins(open_loop(zpk([], [1], gain, period)))
    assert found.crossover_Hz == pytest.approx(crossover_Hz, rel=1e-10)
    assert 90.0 - found.phase_margin_deg == pytest.approx(degrees, rel=1e-9)
    exact = cmath.phase((1 - cmath.exp(-1j * math.tau / per_period)) / (1j * math.tau / per_period))
    assert math.degrees(exact) == pytest.approx(-degrees, rel=1e-12)


@given(st.floats(0.01, 1.2), st.floats(-2, 2))
def test_dead_time_costs_crossover_times_delay(turn_rad, decades):
    """Dead time θ takes ωgc θ of phase margin: 0.5 rad is 28.6°, 1 rad 57.3° (Skogestad & Postlethwaite; FBS2e [memory,
    high])."""
    part = zpk([], [0, -1 * 10.0**decades], 10.0 ** (2 * decades))
    before = margins(open_loop(part))
    after = margins(open_loop(part._replace(delay_s=turn_rad / (TURN * before.crossover_Hz))))
    assert after.crossover_Hz == pytest.approx(before.crossover_Hz, rel=1e-11)
    assert before.phase_margin_deg - after.phase_margin_deg == pytest.approx(math.degrees(turn_rad), rel=1e-8)
    assert (after.stable, before.stable) == (math.degrees(turn_rad) < before.phase_margin_deg, True)
    assert math.degrees(0.5) == pytest.approx(28.6, abs=0.05) and math.degrees(1.0) == pytest.approx(57.3, abs=0.05)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.1, 10), st.floats(0.05, 5), st.floats(0.05, 8))
def test_simc_closed_form(gain, dead_time, ratio):
    """SIMC PI with τc = θ on k e^{−θs}/(τs + 1), τ ≤ 8θ: GM π, PM 61.35°, Ms 1.590, Mt 1.000, DM 2.142 θ.

    Skogestad 2003, J Process Control 13:291 [seen; figures computed, matching the paper's table, memory, high].
    The zero cancels the pole: L = e^{−θs}/(2θs), so GM = π and PM = 90° − 0.5 rad exactly.
    """
    lag = ratio * dead_time
    plant = zpk([], [-1 / lag], gain / lag, delay_s=dead_time)
    proportional = lag / (gain * 2 * dead_time)
    found = margins(open_loop(plant, zpk([-1 / min(lag, 8 * dead_time)], [0], proportional)))
    assert found.stable
    assert found.gain_margin == pytest.approx(math.pi, rel=1e-9)
    assert found.phase_margin_deg == pytest.approx(90 - math.degrees(0.5), rel=1e-9)
    assert found.phase_margin_deg == pytest.approx(61.35, abs=5e-3)
    assert found.sensitivity_peak == pytest.approx(1.590, abs=5e-4)
    assert found.delay_margin_s == pytest.approx(2.142 * dead_time, rel=1e-3)
    omega = np.linspace(1e-4, 6, 600) / dead_time
    loop = np.exp(-1j * omega * dead_time) / (2j * omega * dead_time)
    assert np.max(np.abs(loop / (1 + loop))) == pytest.approx(1.0, abs=1e-3)


# --- python-control on random loops -------------------------------------------------------------------------------


def crossings_of(part):
    """python-control's crossings, without those whose roots it has not found to 1e-10 (its polynomial method)."""
    import control

    numerator = part.gain * np.atleast_1d(np.real(np.poly(part.zeros)))
    system = control.tf(numerator, np.real(np.poly(part.poles)), part.period_s if part.period_s > 0 else 0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        gain, phase, modulus, pc, gc, _ = control.stability_margins(system, returnall=True, method="poly")
    at = [response(part, float(w)) if w > 0 else complex(math.nan) for w in pc]
    good_gain = [g for g, w, x in zip(gain, pc, at, strict=True)
                 if w > 1e-3 and abs(x.imag) < 1e-10 * abs(x) and abs(x) > 1e-6]
    good_phase = [p for p, w in zip(phase, gc, strict=True)
                  if w > 1e-3 and abs(abs(response(part, float(w))) - 1) < 1e-10]
    exact = len(good_gain) == sum(pc > 0) and len(good_phase) == len(gc)
    return good_gain, good_phase, modulus, exact


def contained(some, others, rel=1e-6):
    return all(any(a == pytest.approx(b, rel=rel, abs=1e-6) for b in others) for a in some)


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_python_control_agrees_on_random_continuous_loops(data):
    """Gain, phase and modulus margins of every crossing to 1e-6, where its polynomial roots are that accurate."""
    order = data.draw(st.integers(1, 4))
    poles = [-(10.0 ** data.draw(st.floats(-1, 1))) for _ in range(order)] + [0.0] * data.draw(st.integers(0, 1))
    if data.draw(st.booleans()):
        size, damping = 10.0 ** data.draw(st.floats(-1, 1)), data.draw(st.floats(0.05, 0.9))
        poles += [size * complex(-damping, s * math.sqrt(1 - damping**2)) for s in (1, -1)]
    zeros = [-(10.0 ** data.draw(st.floats(-1, 1))) for _ in range(data.draw(st.integers(0, min(order - 1, 2))))]
    size = abs(np.prod([p for p in poles if p != 0])) / abs(np.prod(zeros)) if zeros else \
        abs(np.prod([p for p in poles if p != 0]))
    part = zpk(zeros, poles, size * 10.0 ** data.draw(st.floats(-1, 1.5)))
    gain, phase, modulus, exact = crossings_of(part)
    found = margins(open_loop(part))
    ours_gain = [c.gain_margin for c in found.phase_crossovers if 0 < c.gain_margin < 1e6]
    ours_phase = [c.phase_margin_deg for c in found.gain_crossovers]
    assert contained(gain, ours_gain) and contained(phase, ours_phase)
    if exact:
        assert contained([g for g in ours_gain if g < 1e5], gain) and contained(ours_phase, phase)
    if len(modulus) and found.modulus_margin < 0.99:
        assert found.modulus_margin == pytest.approx(np.min(modulus), rel=1e-6)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_python_control_agrees_on_random_sampled_loops(data):
    """The same for sampled loops. Its modulus margin comes from one descent and it drops roots it is unsure of: so ours
    may only be smaller, must be the least over a dense grid, and must have as many crossings as that grid."""
    order = data.draw(st.integers(1, 3))
    poles = [data.draw(st.floats(0.1, 0.9)) for _ in range(order)] + [1.0] * data.draw(st.integers(0, 1))
    if data.draw(st.booleans()):
        size, angle = data.draw(st.floats(0.3, 0.9)), data.draw(st.floats(0.3, 2.8))
        poles += [size * cmath.exp(1j * angle), size * cmath.exp(-1j * angle)]
    zeros = [data.draw(st.floats(0.1, 0.9)) * data.draw(st.sampled_from([1, -1]))
             for _ in range(data.draw(st.integers(0, order - 1)))]
    part = zpk(zeros, poles, 10.0 ** data.draw(st.floats(-2, 0.3)), 0.1)
    gain, phase, modulus, _ = crossings_of(part)
    found = margins(open_loop(part))
    assert contained(gain, [c.gain_margin for c in found.phase_crossovers])
    assert contained(phase, [c.phase_margin_deg for c in found.gain_crossovers])
    if len(modulus):
        assert found.modulus_margin <= np.min(modulus) * (1 + 1e-9)
    z = np.exp(1j * np.linspace(1e-3, math.pi - 1e-6, 20001))
    loop = part.gain * np.prod(z[:, None] - part.zeros, axis=1) / np.prod(z[:, None] - part.poles, axis=1)
    assert found.modulus_margin <= np.min(np.abs(1 + loop)) * (1 + 1e-9)
    assert found.modulus_margin == pytest.approx(np.min(np.abs(1 + loop)), rel=1e-3, abs=1e-3)
    crosses = (loop.imag[1:] > 0) != (loop.imag[:-1] > 0)
    assert np.sum(crosses & (loop.real[1:] < 0)) == sum(
        1e-3 < TURN * 0.1 * c.frequency_Hz < math.pi - 1e-6 for c in found.phase_crossovers)
    size = np.abs(loop) > 1
    assert np.sum(size[1:] != size[:-1]) == sum(
        1e-3 < TURN * 0.1 * c.frequency_Hz < math.pi - 1e-6 for c in found.gain_crossovers)


def test_a_gain_alone():
    """L = 1/2 · 1/(s + 1) with a static controller: never crosses, |1 + L| least where L has died away."""
    found = margins(open_loop(zpk([], [-1], 1), Unity(0.5)))
    assert found.gain_margin == math.inf and found.phase_margin_deg == math.inf and found.delay_margin_s == math.inf
    assert found.modulus_margin == pytest.approx(1.0) and found.modulus_margin_Hz == math.inf
