"""Tuning rules against published numbers, through the code that tunes a rig: reduction, rule, margins.

Tags as in the reference list: [seen] read in the published text, [memory] not looked up, [computed] mathematics.
"""
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.margins.margins import OpenLoop, margins, open_loop
from controller.response import Zpk
from controller.tick.law import design
from controller.tick.parameters import Controller
from controller.tuning.reduced import DelayedLag, delayed_lag, ultimate_point
from controller.tuning.rules import amigo_pi, amigo_pid, classical_rules, simc, to_controller, ziegler_nichols_pi
from controller.tuning.rules import ziegler_nichols_pid as zn_pid


def zpk(zeros, poles, gain, delay_s=0.0):
    return Zpk(np.array(zeros, complex), np.array(poles, complex), float(gain), 0.0, delay_s)


def lag(gain, time_s, delay_s):
    """gain e^{−Ls}/(Ts + 1), continuous."""
    return zpk([], [-1.0 / time_s], gain / time_s, delay_s)


def reduced(part):
    return delayed_lag(part, ultimate_point(open_loop(part)))


def pi(settings):
    return zpk([-1.0 / settings.ti_s], [0.0], settings.kp)


@given(st.floats(0.01, 100), st.floats(0.01, 100), st.floats(0.13, 10))
def test_simc_on_a_lag_with_dead_time(gain, time_s, share):
    """GM = π, PM = 61.35°, Ms = 1.590, Mt = 1, delay margin 2.14 θ for τc = θ and τ ≤ 8θ: Skogestad 2003, Table 1
    [memory, high]; in closed form L = e^{−θs}/(2θs), so GM = π, PM = 90° − 1/2 rad, DM = (π − 1) θ [computed]."""
    delay_s = share * time_s  # so that Ti = τ
    plant = lag(gain, time_s, delay_s)
    found = margins(open_loop(plant, pi(simc(reduced(plant)))))
    assert found.gain_margin == pytest.approx(math.pi, rel=1e-6)
    assert found.phase_margin_deg == pytest.approx(61.35, abs=0.005)
    assert found.sensitivity_peak == pytest.approx(1.590, abs=0.0006)
    assert found.delay_margin_s == pytest.approx((math.pi - 1.0) * delay_s, rel=1e-6)


@pytest.mark.slow
def test_simc_on_the_tick():
    """The same numbers from the firmware's own discrete law, where the tick is short beside the dead time; the 20 ms
    hold what the hold costs, half a tick."""
    period, plant = 1e-4, lag(2.0, 0.05, 0.02)
    law = design(to_controller(simc(reduced(plant)), Controller(), period), period)
    found = margins(OpenLoop(plant, law, period, 1, 0, 1e-3, math.pi / period))
    assert found.gain_margin == pytest.approx(math.pi, rel=0.01)
    assert found.phase_margin_deg == pytest.approx(61.35, abs=0.1)
    assert found.sensitivity_peak == pytest.approx(1.590, abs=0.003)


def test_simc_on_an_integrator():
    """Ti = 8θ and Kc = 1/(2 k' θ) with τc = θ: Skogestad 2003 [memory, high]; GM 2.96, PM 46.9°, Ms 1.70 in its Table 1
    [memory, medium; computed here to the digit]."""
    plant = zpk([], [0.0], 3.0, 0.2)
    settings = simc(reduced(plant))
    assert (settings.kp, settings.ti_s) == (pytest.approx(1.0 / (2 * 3.0 * 0.2)), pytest.approx(1.6))
    found = margins(open_loop(plant, pi(settings)))
    assert found.gain_margin == pytest.approx(2.96, abs=0.005)
    assert found.phase_margin_deg == pytest.approx(46.9, abs=0.05)
    assert found.sensitivity_peak == pytest.approx(1.70, abs=0.005)


def test_amigo_at_equal_lag_and_dead_time():
    """Kp = T = L = 1: PI 0.25 and 1.0; PID 0.65, 1.0909, 0.38462: Åström & Hägglund 2006, Eq. 7.7 [seen]."""
    found = reduced(lag(1.0, 1.0, 1.0))
    first, second = amigo_pi(found), amigo_pid(found)
    assert (first.kp, first.ti_s) == (pytest.approx(0.25), pytest.approx(1.0))
    assert (second.kp, second.ti_s, second.td_s) == pytest.approx((0.65, 12 / 11, 5 / 13))


@given(st.floats(0.05, 20), st.floats(0.05, 20), st.floats(0.01, 20))
def test_amigo_is_its_published_formula(gain, time, delay):
    """The formulas as printed, in K, T and L [seen]."""
    found = DelayedLag(gain / time, time, delay)
    first, second = amigo_pi(found), amigo_pid(found)
    assert first.kp == pytest.approx((0.15 + (0.35 - delay * time / (delay + time) ** 2) * time / delay) / gain)
    assert first.ti_s == pytest.approx(
        0.35 * delay + 13 * delay * time**2 / (time**2 + 12 * delay * time + 7 * delay**2))
    assert second.kp == pytest.approx((0.2 + 0.45 * time / delay) / gain)
    assert second.ti_s == pytest.approx(delay * (0.4 * delay + 0.8 * time) / (delay + 0.1 * time))
    assert second.td_s == pytest.approx(0.5 * delay * time / (0.3 * delay + time))


def test_amigo_on_an_integrator():
    """PI 0.35/(Kv L), 13.4 L; PID 0.45/(Kv L), 8 L, 0.5 L: Åström & Hägglund 2004, integrating processes
    [memory, high]."""
    found = reduced(zpk([], [0.0], 2.0, 0.5))
    first, second = amigo_pi(found), amigo_pid(found)
    assert (first.kp, first.ti_s) == (pytest.approx(0.35), pytest.approx(13.4 * 0.5, rel=0.005))
    assert (second.kp, second.ti_s, second.td_s) == pytest.approx((0.45, 4.0, 0.25))


def test_ziegler_nichols_on_three_lags():
    """1/(s+1)³: Ku = 8, Tu = 2π/√3 in closed form; PID 4.8, 1.8138, 0.45345 with 0.6 Ku, Tu/2, Tu/8 [computed; rule
    memory, high; some print Ku/1.7]; PI 0.45 Ku, Tu/1.2. The PID leaves PM 30.6° and a modulus margin of 0.469."""
    plant = zpk([], [-1, -1, -1], 1.0)
    ultimate = ultimate_point(open_loop(plant))
    assert (ultimate.gain, ultimate.period_s) == (pytest.approx(8.0), pytest.approx(2 * math.pi / math.sqrt(3)))
    assert ziegler_nichols_pi(ultimate)[:2] == (pytest.approx(3.6), pytest.approx(3.0230, abs=5e-5))
    pid = zn_pid(ultimate)
    assert (pid.kp, pid.ti_s, pid.td_s) == (
        pytest.approx(4.8), pytest.approx(1.8138, abs=5e-5), pytest.approx(0.45345, abs=1e-5))
    zeros = np.roots([pid.ti_s * pid.td_s, pid.ti_s, 1.0])
    found = margins(open_loop(zpk(zeros, [0, -1, -1, -1], pid.kp * pid.td_s)))
    assert found.phase_margin_deg == pytest.approx(30.6, abs=0.05)
    assert found.modulus_margin == pytest.approx(0.469, abs=5e-4)


@pytest.mark.slow
def test_ziegler_nichols_in_the_firmware_law():
    """The same PID as the firmware runs it, filtered and on a tick of a thousandth of Tu, is close to the textbook."""
    plant = zpk([], [-1, -1, -1], 1.0)
    loop, period = open_loop(plant), 3.6e-3
    controller = classical_rules(loop, Controller(), period)["Ziegler–Nichols PID"]
    assert (controller.kp, controller.ti_s, controller.td_s) == pytest.approx((4.8, 1.8138, 0.45345), rel=1e-4)
    found = margins(OpenLoop(plant, design(controller, period), period, 1, 0, 1e-4, math.pi / period))
    assert found.phase_margin_deg == pytest.approx(30.6, abs=6.0)  # the filter Td/10 takes some of it
