"""Margins against published tables and the encirclement counts of textbook examples.

Tags as in the reference list: [seen] read in the published text, [memory] not looked up, [computed] mathematics.
"""
import math
import warnings

import numpy as np
import pytest

from controller.margins.margins import margins, open_loop
from controller.response import Zpk

TURN = 2 * math.pi


def zpk(zeros, poles, gain, period_s=0.0, delay_s=0.0):
    return Zpk(np.array(zeros, complex), np.array(poles, complex), float(gain), period_s, delay_s)


def rational(numerator, denominator):
    """A continuous part from polynomials in s."""
    return zpk(np.roots(numerator), np.roots(denominator), numerator[0] / denominator[0])


def held(part, period_s):
    """The part sampled behind a zero-order hold, by scipy's matrix exponential."""
    from scipy.signal import cont2discrete, zpk2ss

    a, b, c, d, _ = cont2discrete(zpk2ss(part.zeros, part.poles, part.gain), period_s)
    numerator = np.real(np.poly(a - b @ c)) + (d[0, 0] - 1.0) * np.real(np.poly(a))  # det(zI − a + b c) − det(zI − a)
    numerator = np.trim_zeros(np.where(np.abs(numerator) < 1e-14, 0.0, numerator), "f")
    return zpk(np.roots(numerator), np.exp(part.poles * period_s), numerator[0], period_s)


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
    phases = [c.phase_margin_deg for c in found.gain_crossovers]
    assert phases == pytest.approx([97.5941, -157.7844, 134.7359], abs=5e-3)
    assert [TURN * c.frequency_Hz for c in found.gain_crossovers] == pytest.approx([0.0850, 0.9373, 1.0919], abs=1e-4)
    assert found.phase_margin_deg == pytest.approx(97.5941, rel=1e-5)
    assert found.modulus_margin == pytest.approx(0.5591, abs=6e-5)
    assert TURN * found.modulus_margin_Hz == pytest.approx(9.9918, rel=1e-4)


HARD = zpk([-0.02, -0.05, -5, -10], [0.0005, -0.0001, -0.01, -0.2, -1, -100, -100], 0.002)


@pytest.mark.parametrize(("part", "gain", "atol", "expected"), [
    (zpk([0], [-1], 1), 2.0, 1.5e-3, (None, -120.0007, None, 0.5774)),
    (zpk([], [-1, -1, -1], 1), 0.8, 1.5e-3, (10.0014, None, 1.7322, None)),
    (zpk([], [-1, -1, -1], 1), 2.0, 1e-2, (4.000, 67.6058, 1.7322, 0.7663)),
    (zpk([-0.1], [0, -1], 1), 1.0, 1e-4, (None, 144.9032, None, 0.3162)),
    (zpk([-0.1], [0, 0, -1], 1), 1.0, 1e-4, (None, 44.4594, None, 0.7907)),
    (zpk([-0.1, -0.1], [0, 0, 0, -1], 1), 1.0, 1.5e-3, (0.0626, 37.1748, 0.1119, 0.7951)),
    (HARD, 1.0, 1e-3, (0.0100, -14.5640, 0.0, 0.0022)),
    (HARD, 1000.0, 1e-3, (0.1793, 22.5215, 0.0243, 0.0630)),
    (HARD, 5000.0, 1.5e-3, (4.5596, 21.2101, 0.4385, 0.1868)),
])
def test_loops_chosen_to_be_hard(part, gain, atol, expected):
    """Bavafi-Toosi 2015, J Control Systems Eng 3:51-59; figures as in python-control's margin_test.py [seen].

    That suite prints the gain margin nearest to 1 in dB, whichever side; so it is looked up among all crossings.
    """
    gain_margin, phase_margin, phase_crossover, gain_crossover = expected
    found = margins(open_loop(part._replace(gain=part.gain * gain)))
    if gain_margin is None:
        assert found.phase_crossovers == () and found.gain_margin == math.inf
    else:
        nearest = min(found.phase_crossovers, key=lambda c: abs(math.log(c.gain_margin)))
        assert nearest.gain_margin == pytest.approx(gain_margin, abs=atol)
        assert TURN * nearest.frequency_Hz == pytest.approx(phase_crossover, abs=atol)
    if phase_margin is not None:
        assert found.phase_margin_deg == pytest.approx(phase_margin, abs=atol)
        assert TURN * found.crossover_Hz == pytest.approx(gain_crossover, abs=atol)
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
