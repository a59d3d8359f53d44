"""Margins against published tables, textbook closed forms, exact roots and python-control's independent code.

Tags as in the reference list: [seen] read in the published text, [memory] not looked up, [computed] mathematics.
"""
import cmath
import math
import warnings

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from controller.margins import margins, open_loop
from controller.response import Unity, Zpk, response

TURN = 2 * math.pi


def zpk(zeros, poles, gain, period_s=0.0, delay_s=0.0):
    return Zpk(np.array(zeros, complex), np.array(poles, complex), float(gain), period_s, delay_s)


def rational(numerator, denominator):
    """A continuous part from polynomials in s."""
    return zpk(np.roots(numerator), np.roots(denominator), numerator[0] / denominator[0])


def held(part, period_s):
    """The part sampled behind a zero-order hold, by scipy's matrix exponential."""
    from scipy.signal import cont2discrete, zpk2ss, zpk2tf

    a, b, c, d, _ = cont2discrete(zpk2ss(part.zeros, part.poles, part.gain), period_s)
    numerator = np.trim_zeros(np.where(np.abs(n := zpk2tf_of(a, b, c, d)) < 1e-14 * np.max(np.abs(n)), 0.0, n), "f")
    assert zpk2tf is not None
    return zpk(np.roots(numerator), np.exp(part.poles * period_s), numerator[0], period_s)


def zpk2tf_of(a, b, c, d):
    """Numerator of c (zI − a)⁻¹ b + d over det(zI − a): det(zI − a + b c) − (1 − d) det(zI − a)."""
    return np.real(np.poly(a - b @ c)) + (d[0, 0] - 1.0) * np.real(np.poly(a))


def as_printed(figure):
    """Equal to a printed figure: to 1e-3, or to half a unit of its last digit where it has fewer."""
    decimals = len(figure.partition(".")[2])
    return pytest.approx(float(figure), rel=1e-3, abs=0.5000001 * 10.0**-decimals)


# --- the golden table ---------------------------------------------------------------------------------------------

TABLE = {  # loop: (part, gain margin, phase margin, phase crossover, gain crossover, modulus margin, Ms, delay margin)
    "3/(s+1)^3: after Åström & Murray [memory, medium]; closed form":
        (zpk([], [-1, -1, -1], 3), 8 / 3, "41.69", math.sqrt(3), "1.0393", "0.4545", "2.200", "0.7001"),
    "1/(s(s+1)^2): Franklin, Powell, Workman DCDS 3e Fig 2.15 Ex 2.4 [seen]; FBS2e Fig 10.6 [seen]":
        (zpk([], [0, -1, -1], 1), 2.0, "21.39", 1.0, "0.6823", "0.2970", "3.367", "0.547"),
    "1/(s(s+1)(s+2)): Gopal, Control Systems 2e Ex 8.15-8.16, critical delay 2.09 s [seen]":
        (zpk([], [0, -1, -2], 1), 6.0, "53.41", math.sqrt(2), "0.4457", "0.6376", "1.568", "2.091"),
    "100/(s(.1s+1)(.2s+1)): Gopal Ex 8.14, -16.48 dB [seen]":
        (zpk([], [0, -10, -5], 5000), 0.15, "-40.45", math.sqrt(50), "15.93", None, None, None),
    "20/(s(.5s+1)): Ogata MCE 5e Ex 7-26, book 17° [memory, high]":
        (zpk([], [0, -2], 40), math.inf, "17.96", None, "6.169", "0.298", None, "0.0508"),
    "41.7(s+4.41)/(s+18.4) 4/(s(s+2)): Ogata, the same with lead, book about 50° at 9 [memory, high]":
        (zpk([-4.41], [-18.4, 0, -2], 166.8), math.inf, "50.5", None, "8.89", "0.7126", None, "0.0992"),
}


@pytest.mark.parametrize("name", TABLE)
def test_golden_table(name):
    part, gain_margin, phase_margin, phase_crossover, gain_crossover, modulus, peak, delay = TABLE[name]
    found = margins(open_loop(part))
    assert found.gain_margin == pytest.approx(gain_margin, rel=1e-9)
    assert found.phase_margin_deg == as_printed(phase_margin)
    assert TURN * found.crossover_Hz == as_printed(gain_crossover)
    if phase_crossover is not None:
        assert TURN * found.gain_margin_Hz == pytest.approx(phase_crossover, rel=1e-9)
    assert found.stable == (delay is not None)
    if modulus is not None:
        assert found.modulus_margin == as_printed(modulus)
    if peak is not None:
        assert found.sensitivity_peak == as_printed(peak)
    if delay is not None:
        assert found.delay_margin_s == as_printed(delay)
        exact = math.radians(found.phase_margin_deg) / (TURN * found.crossover_Hz)
        assert found.delay_margin_s == pytest.approx(exact, rel=1e-12)


def test_gopals_unstable_loop_in_decibel():
    """Gopal Ex 8.14: -16.48 dB [seen]; its two unstable poles are roots of s(.1s+1)(.2s+1) + 100."""
    found = margins(open_loop(zpk([], [0, -10, -5], 5000)))
    assert 20 * math.log10(found.gain_margin) == pytest.approx(-16.48, abs=0.005)
    assert not found.stable and found.unstable_closed_loop_poles == 2
    assert np.sum(np.roots([0.02, 0.3, 1, 100]).real > 0) == 2


@pytest.mark.parametrize(("crossover_rad_s", "delay_margin_s"), [(3.0, 0.2909), (30.0, 0.02909)])
def test_delay_margin_arithmetic(crossover_rad_s, delay_margin_s):
    """Phase margin 50° at 3 and 30 rad/s leaves 0.2909 and 0.02909 s [seen]: ωc e^{−θs}/s with 40° of dead time."""
    part = zpk([], [0], crossover_rad_s, delay_s=math.radians(40) / crossover_rad_s)
    found = margins(open_loop(part))
    assert found.phase_margin_deg == pytest.approx(50.0, rel=1e-12)
    assert found.delay_margin_s == pytest.approx(delay_margin_s, rel=2e-4)


@pytest.mark.parametrize("name", [name for name, row in TABLE.items() if row[-1] is not None])
def test_delay_margin_flips_the_closed_loop(name):
    """98 % of the delay margin is stable and 102 % is not, by the eigenvalues of a finely sampled delayed loop.

    Characteristic roots of the closed loop with the delay as a chain of registers [computed]. The hold adds half a
    tick, a quarter of a percent of the margin here.
    """
    from scipy.signal import cont2discrete, zpk2ss

    part = TABLE[name][0]
    margin = margins(open_loop(part)).delay_margin_s
    period = margin / 200
    a, b, c, d, _ = cont2discrete(zpk2ss(part.zeros, part.poles, part.gain), period)
    n = len(a)
    for ticks, stable in ((196, True), (204, False)):
        whole = np.zeros((n + ticks, n + ticks))
        whole[:n, :n], whole[:n, -1:] = a, b
        whole[n, :n], whole[n, -1:] = -c[0], -d[0]
        whole[range(n + 1, n + ticks), range(n, n + ticks - 1)] = 1.0
        assert (np.max(np.abs(np.linalg.eigvals(whole))) < 1.0) == stable


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


# --- what python-control's own suite carries ----------------------------------------------------------------------


def test_third_order_without_gain_crossover():
    """1/(s³+2s²+3s+4): GM 2 at √3, sm 0.4170 at 1.662 [seen, python-control margin_test.py]."""
    found = margins(open_loop(rational([1], [1, 2, 3, 4])))
    assert found.gain_margin == pytest.approx(2.0, rel=1e-9)
    assert TURN * found.gain_margin_Hz == pytest.approx(math.sqrt(3), rel=1e-9)
    assert found.modulus_margin == pytest.approx(0.4170, abs=5e-5)
    assert TURN * found.modulus_margin_Hz == pytest.approx(1.662, abs=5e-4)
    assert found.phase_margin_deg == math.inf and found.gain_crossovers == ()


def test_right_half_plane_zero():
    """0.01(10−s)/((2+s)(1+s)): GM 300 at 5.6569, sm 0.9917 at 2.3171 [seen, python-control margin_test.py]."""
    found = margins(open_loop(zpk([10], [-2, -1], -0.01)))
    assert found.gain_margin == pytest.approx(300.0, rel=1e-9)
    assert TURN * found.gain_margin_Hz == pytest.approx(5.6569, rel=1e-4)
    assert found.modulus_margin == pytest.approx(0.9917, abs=5e-5)
    assert TURN * found.modulus_margin_Hz == pytest.approx(2.3171, rel=1e-3)


def test_several_gain_crossovers():
    """A lag with two resonances: all three crossings, GM 2.2716, sm 0.5591 [seen, python-control margin_test.py]."""
    part = rational(8.75 * np.array([4, 0.4, 1]),
                    np.polymul(np.polymul([100, 1], [1, 0.22, 1]), [0.01, 0.008, 1]))
    found = margins(open_loop(part))
    assert found.gain_margin == pytest.approx(2.2716, rel=1e-4)
    assert TURN * found.gain_margin_Hz == pytest.approx(10.0053, rel=1e-4)
    assert [c.phase_margin_deg for c in found.gain_crossovers] == pytest.approx([97.5941, -157.7844, 134.7359], rel=1e-5)
    assert [TURN * c.frequency_Hz for c in found.gain_crossovers] == pytest.approx([0.0850, 0.9373, 1.0919], abs=6e-5)
    assert found.phase_margin_deg == pytest.approx(97.5941, rel=1e-5)
    assert found.modulus_margin == pytest.approx(0.5591, abs=6e-5)
    assert TURN * found.modulus_margin_Hz == pytest.approx(9.9918, rel=1e-4)


HARD = zpk([-0.02, -0.05, -5, -10], [0.0005, -0.0001, -0.01, -0.2, -1, -100, -100], 0.002)


@pytest.mark.parametrize(("part", "gain", "expected"), [
    (zpk([0], [-1], 1), 2.0, (None, -120.0, None, 0.5774)),
    (zpk([], [-1, -1, -1], 1), 0.8, (10.0, None, 1.7321, None)),
    (zpk([], [-1, -1, -1], 1), 2.0, (4.000, 67.6058, 1.7321, 0.7663)),
    (zpk([-0.1], [0, -1], 1), 1.0, (None, 144.9032, None, 0.3162)),
    (zpk([-0.1], [0, 0, -1], 1), 1.0, (None, 44.4594, None, 0.7907)),
    (zpk([-0.1, -0.1], [0, 0, 0, -1], 1), 1.0, (0.0626, 37.1748, 0.1119, 0.7951)),
    (HARD, 1.0, (0.0100, -14.5640, 0.0, 0.0022)),
    (HARD, 1000.0, (0.1793, 22.5215, 0.0243, 0.0630)),
    (HARD, 5000.0, (4.5596, 21.2101, 0.4385, 0.1868)),
])
def test_loops_chosen_to_be_hard(part, gain, expected):
    """Bavafi-Toosi 2015, J Control Systems Eng 3:51-59, figures as in python-control's margin_test.py [seen].

    That suite prints the gain margin nearest to 1 in dB, whichever side; so it is looked up among all crossings.
    """
    gain_margin, phase_margin, phase_crossover, gain_crossover = expected
    found = margins(open_loop(part._replace(gain=part.gain * gain)))
    if gain_margin is None:
        assert found.phase_crossovers == () and found.gain_margin == math.inf
    else:
        nearest = min(found.phase_crossovers, key=lambda c: abs(math.log(c.gain_margin)))
        assert nearest.gain_margin == pytest.approx(gain_margin, rel=1e-3, abs=6e-5)
        assert TURN * nearest.frequency_Hz == pytest.approx(phase_crossover, rel=1e-3, abs=6e-5)
    if phase_margin is not None:
        assert found.phase_margin_deg == pytest.approx(phase_margin, rel=1e-5)
        assert TURN * found.crossover_Hz == pytest.approx(gain_crossover, rel=1e-3, abs=6e-5)
    else:
        assert found.gain_crossovers == ()


def test_all_crossings_of_the_hardest_loop():
    """Ten decades of frequency and gain margins from 0.01 to 7e8 [seen, python-control margin_test.py]."""
    found = margins(open_loop(HARD))
    assert [c.gain_margin for c in found.phase_crossovers] == pytest.approx(
        [0.01, 179.2931, 2.2798e4, 1.5946e7, 7.2477e8], rel=1e-3)
    assert [TURN * c.frequency_Hz for c in found.phase_crossovers] == pytest.approx(
        [0, 0.0243, 0.4385, 6.8640, 84.9323], rel=2e-3)
    assert found.modulus_margin == pytest.approx(0.2496, abs=6e-5)


@pytest.mark.parametrize(("part", "period_s", "expected"), [
    (zpk([], [0, -1, -2], 2), 0.01, (2.955761, 32.398492, 0.429535, 1.403725, 0.749367, 0.923898)),
    (zpk([], [-1, -1, -1], 2), 0.1, (3.4927, 65.4212, 0.5763, 1.6283, 0.76625, 1.2019)),
    (rational([4.4 * math.pi**2], [1, 0.8 * math.pi, 4 * math.pi**2]), 0.05,
     (2.3842, 18.161, 0.26953, 11.712, 8.7478, 9.1504)),
    (rational([5e4], [1, 101, 10101, 10100, 10000]), 1e-3, (18.8766, 26.3564, 0.406841, 9.76358, 2.32933, 2.55986)),
])
def test_sampled_loops(part, period_s, expected):
    """Loops behind a zero-order hold [seen, python-control margin_test.py, from its issues gh-465 and gh-523]."""
    found = margins(open_loop(held(part, period_s)))
    assert found.stable
    figures = (found.gain_margin, found.phase_margin_deg, found.modulus_margin, TURN * found.gain_margin_Hz,
               TURN * found.crossover_Hz, TURN * found.modulus_margin_Hz)
    assert figures == pytest.approx(expected, rel=1e-4)


def test_sampled_phase_crossover():
    """A third-order sampled loop crosses -180° at 1.6235 rad/s with L = -0.28598 [seen, margin_test.py]."""
    part = zpk(np.roots([3, 11, 3]), np.roots([1, -2.7145, 2.4562, -0.7408]), 3e-4, 0.1)
    found = margins(open_loop(part))
    assert TURN * found.gain_margin_Hz == pytest.approx(1.6235, abs=1.5e-3)
    assert 1 / found.gain_margin == pytest.approx(0.28598, rel=1e-3)


def test_sampling_limits():
    """2/(s(s+1)(s+2)) with a vanishing period tends to GM 3, PM 32.61° [computed]."""
    found = margins(open_loop(zpk([], [0, -1, -2], 2)))
    assert found.gain_margin == pytest.approx(3.0, rel=1e-9)
    assert found.phase_margin_deg == pytest.approx(32.61, abs=5e-3)


NYQUIST = {
    "FBS2e Fig 10.4: 1/(s + 0.6)^3": zpk([], [-0.6] * 3, 1),
    "the same with a = 0.4": zpk([], [-0.4] * 3, 1),
    "FBS2e Fig 10.6: 1/(s(s+1)^2)": zpk([], [0, -1, -1], 1),
    "FBS2e Fig 10.10: 3(s+6)^2/(s(s+1)^2), conditionally stable": zpk([-6, -6], [0, -1, -1], 3),
    "the same with a sixth of the gain": zpk([-6, -6], [0, -1, -1], 0.5),
    "FBS2e Ex 14.14, cart and pendulum": rational([0.02, 0, -0.1, 0], [1, 1, 1, 0.25, 0.04]),
    "the same with three times the gain": rational([0.06, 0, -0.3, 0], [1, 1, 1, 0.25, 0.04]),
    "an unstable third-order loop": rational([10], [1, 2, 2, 1]),
    "a pole at the origin": rational([3], [1, 2, 2, 1, 0]),
    "an unstable plant held by its loop": zpk([-2], [1, -5], 6),
    "the same with too little gain": zpk([-2], [1, -5], 2),
}


@pytest.mark.parametrize("name", NYQUIST)
def test_nyquist_encirclements(name):
    """FBS2e examples as python-control's nyquist_test.py runs them [seen]: Z = N + P, its N against our Z."""
    import control

    part = NYQUIST[name]
    system = control.zpk(part.zeros, part.poles, part.gain)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        encirclements = control.nyquist_response(system).count
    outside = int(np.sum(np.real(part.poles) > 0))
    found = margins(open_loop(part))
    assert found.unstable_closed_loop_poles == encirclements + outside
    roots = np.roots(np.polyadd(part.gain * np.real(np.poly(part.zeros)), np.real(np.poly(part.poles))))
    assert found.unstable_closed_loop_poles == np.sum(roots.real > 0)


def test_conditional_stability_by_routh():
    """k(s+6)²/(s(s+1)²) is unstable for 1/4 < k < 2/3 (Routh: 12k² − 11k + 2 < 0 [computed])."""
    found = margins(open_loop(NYQUIST["FBS2e Fig 10.10: 3(s+6)^2/(s(s+1)^2), conditionally stable"]))
    assert found.gain_reduction_margin == pytest.approx(2 / 9, rel=1e-9)
    assert sorted(c.gain_margin for c in found.phase_crossovers) == pytest.approx([1 / 12, 2 / 9], rel=1e-9)
    assert found.gain_margin == math.inf


def test_dead_time_loop_of_fbs():
    """FBS2e Fig 10.4: 1.4 e^{−s}/(s+1)² is stable [seen]; its rational Padé stand-in agrees to its own accuracy."""
    import control

    found = margins(open_loop(zpk([], [-1, -1], 1.4, delay_s=1.0)))
    assert found.stable
    stand_in = control.tf([1.4], [1, 2, 1]) * control.tf(*control.pade(1, 8))
    gain, phase, modulus, *_ = control.stability_margins(stand_in)
    assert found.gain_margin == pytest.approx(gain, rel=1e-6)
    assert found.phase_margin_deg == pytest.approx(phase, rel=1e-6)
    assert found.modulus_margin == pytest.approx(modulus, rel=1e-6)


# --- laws ---------------------------------------------------------------------------------------------------------


@st.composite
def stable_loops(draw):
    """Random loops, continuous with dead time or sampled, that are stable when closed."""
    poles = [-(10.0 ** draw(st.floats(-1, 1))) for _ in range(draw(st.integers(1, 3)))] + [0.0] * draw(st.integers(0, 1))
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
    """GM ≥ Ms/(Ms−1), reduction ≤ Ms/(Ms+1), PM ≥ 2 asin(1/2Ms): Åström & Murray, Skogestad [memory, high; computed]."""
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
                 if w > 1e-3 and abs(x.imag) < 1e-10 * abs(x) and 1e-6 < abs(x)]
    good_phase = [p for p, w in zip(phase, gc, strict=True) if abs(abs(response(part, float(w))) - 1) < 1e-10]
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


@settings(max_examples=120, deadline=None)
@given(st.data())
def test_python_control_agrees_on_random_sampled_loops(data):
    """The same for sampled loops; its modulus margin comes from one descent, so ours may only be smaller, and must be
    the least over a dense grid."""
    order = data.draw(st.integers(1, 3))
    poles = [data.draw(st.floats(0.1, 0.9)) for _ in range(order)] + [1.0] * data.draw(st.integers(0, 1))
    if data.draw(st.booleans()):
        size, angle = data.draw(st.floats(0.3, 0.9)), data.draw(st.floats(0.3, 2.8))
        poles += [size * cmath.exp(1j * angle), size * cmath.exp(-1j * angle)]
    zeros = [data.draw(st.floats(-0.9, 0.9)) for _ in range(data.draw(st.integers(0, order - 1)))]
    part = zpk(zeros, poles, 10.0 ** data.draw(st.floats(-2, 0.3)), 0.1)
    gain, phase, modulus, exact = crossings_of(part)
    found = margins(open_loop(part))
    ours_gain = [c.gain_margin for c in found.phase_crossovers if c.gain_margin < 1e6]
    ours_phase = [c.phase_margin_deg for c in found.gain_crossovers]
    assert contained(gain, ours_gain) and contained(phase, ours_phase)
    if exact:
        inside = [c.gain_margin for c in found.phase_crossovers
                  if c.gain_margin < 1e5 and 0 < TURN * c.frequency_Hz < 0.999 * math.pi / 0.1]
        assert contained(inside, gain) and contained(ours_phase, phase)
    if len(modulus):
        assert found.modulus_margin <= np.min(modulus) * (1 + 1e-9)
    z = np.exp(1j * np.linspace(1e-4, math.pi, 20001))
    distance = np.abs(1 + part.gain * np.prod(z[:, None] - part.zeros, axis=1) / np.prod(z[:, None] - part.poles, axis=1))
    assert found.modulus_margin <= np.min(distance) * (1 + 1e-9)
    assert found.modulus_margin == pytest.approx(np.min(distance), rel=1e-3, abs=1e-3)


def test_a_gain_alone():
    """L = 1/2 · 1/(s + 1) with a static controller: never crosses, |1 + L| least where L has died away."""
    found = margins(open_loop(zpk([], [-1], 1), Unity(0.5)))
    assert found.gain_margin == math.inf and found.phase_margin_deg == math.inf and found.delay_margin_s == math.inf
    assert found.modulus_margin == pytest.approx(1.0) and found.modulus_margin_Hz == math.inf
