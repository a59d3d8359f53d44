"""Classical rules on rigs' plants; their published numbers are in tests/outside/test_tuning_rules.py."""
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.margins.loop import open_loop, sampled
from controller.margins.margins import OpenLoop, margins
from controller.response import Unity, Zpk, response
from controller.tick.law import Controller, design
from controller.tick.parameters import SHORTEST_FILTER, check_controller
from controller.tuning.reduced import DelayedLag, Ultimate
from controller.tuning.rules import (
    SLOW_INTEGRAL,
    LEAD_MARGIN_deg,
    Settings,
    amigo_pi,
    amigo_pid,
    classical_rules,
    plain_lead,
    simc,
    to_controller,
    ziegler_nichols_pi,
    ziegler_nichols_pid,
)
from plant.errors import InputError


@given(st.floats(0.01, 100), st.floats(0.01, 100), st.floats(0.01, 10), st.floats(0.01, 10))
def test_simc_slower_is_weaker(gain, time, delay, closed_loop):
    tight = simc(DelayedLag(gain, time, delay))
    assert tight == simc(DelayedLag(gain, time, delay), delay)
    slower = simc(DelayedLag(gain, time, delay), delay + closed_loop)
    assert slower.kp < tight.kp and slower.ti_s >= tight.ti_s


@given(st.floats(1e-5, 1.0))
def test_every_derivative_time_makes_a_filter_that_the_firmware_takes(td_s):
    controller = to_controller(Settings(0.01, 0.02, td_s), Controller(), 1e-3)
    check_controller(controller, 1e-3)
    assert controller.td_s / controller.filter_ratio >= SHORTEST_FILTER * 1e-3
    assert controller.filter_ratio <= 10.0


def test_the_frame_keeps_its_limits():
    frame = Controller(output_low=0.0, slew_per_s=5.0, output_bits=12, notch_Hz=50.0, lead_zero_Hz=50, lead_pole_Hz=90)
    made = to_controller(Settings(0.01, 0.02), frame._replace(prewarp_Hz=40.0), 1e-3)
    assert made.prewarp_Hz == made.ki == made.kd == made.filter_s == 0.0
    assert (made.output_low, made.slew_per_s, made.output_bits) == (0.0, 5.0, 12)
    assert made.notch_Hz == 0.0 and made.lead_zero_Hz == made.lead_pole_Hz == 0.0


def test_the_lead_has_its_phase_margin_at_its_crossover(make_loop):
    """Of the continuous settings on the sampled plant: |L| = 1 and phase −180° + margin there."""
    loop = open_loop(make_loop())
    found = plain_lead(loop, 490.0)
    crossover = SLOW_INTEGRAL / found.ti_s
    s = 1j * crossover
    zero, pole = (2.0 * math.pi * f for f in (found.lead_zero_Hz, found.lead_pole_Hz))
    gain = found.kp * (1 + 1 / (found.ti_s * s)) * (1 + s / zero) / (1 + s / pole) * response(loop.plant, crossover)
    assert abs(gain) == pytest.approx(1.0, rel=1e-6)
    assert math.degrees(math.atan2(-gain.imag, -gain.real)) == pytest.approx(LEAD_MARGIN_deg, abs=0.2)


def test_every_rule_applies_to_a_rig_and_simc_is_stable_there(make_loop):
    loop = make_loop()
    rules = classical_rules(open_loop(loop), Controller(), loop.timing.period_s)
    assert list(rules) == ["Ziegler–Nichols PI", "Ziegler–Nichols PID", "SIMC PI", "AMIGO PI", "AMIGO PID",
                           "plain lead"]
    for name in ("SIMC PI", "AMIGO PI"):
        found = margins(open_loop(loop)._replace(controller=design(rules[name], loop.timing.period_s)))
        assert found.stable and found.sensitivity_peak < 2.2, name
    assert sampled(loop).period_s == loop.timing.period_s


@given(st.floats(0.01, 100), st.floats(0.01, 10), st.floats(0.0, 10))
def test_simc_on_a_slow_plant(gain, delay, closed_loop):
    """Skogestad 2003: Ti = 4 (τc + L) where the lag is longer, 8 L with τc = L; an integrator is the limit of that."""
    for time in (1000.0, math.inf):
        assert simc(DelayedLag(gain, time, delay)).ti_s == pytest.approx(8.0 * delay)
        found = simc(DelayedLag(gain, time, delay), closed_loop)
        assert found.ti_s == pytest.approx(4.0 * (closed_loop + delay))
        assert found.kp == pytest.approx(1.0 / (gain * (closed_loop + delay)))


@given(st.floats(1e-5, 4e-4), st.sampled_from([5e-4, 1e-3, 4e-3]))
def test_a_short_derivative_time_gets_the_shortest_filter(share, period_s):
    """A twentieth of a tick, where Tustin's pole (2τ − T)/(2τ + T) is −0.82."""
    td_s = share * 1e3 * period_s
    controller = to_controller(Settings(0.01, 0.02, td_s), Controller(), period_s)
    filter_s = controller.td_s / controller.filter_ratio
    assert filter_s == pytest.approx(max(0.05 * period_s, td_s / 10.0), rel=2e-3)
    assert (2.0 * filter_s - period_s) / (2.0 * filter_s + period_s) >= -0.9 / 1.1


def test_a_plant_with_phase_to_spare_gets_the_highest_crossover(make_loop):
    """An integrator leaves 90° everywhere: the lead's pole then lies at the highest frequency that was allowed."""
    plant = Zpk(np.zeros(0, complex), np.zeros(1, complex), 2.0, 0.0, 0.0)
    found = plain_lead(OpenLoop(plant, Unity(1.0), 0.0, 1, 0, 0.1, 1e5), 300.0)
    assert found.lead_pole_Hz == pytest.approx(300.0, rel=1e-9) and found.lead_zero_Hz == pytest.approx(100.0, rel=1e-9)
    held = plain_lead(OpenLoop(plant._replace(delay_s=0.25 / 200.0), Unity(1.0), 0.0, 1, 0, 0.1, 1e5), 300.0)
    spare_rad = math.radians(180.0 - LEAD_MARGIN_deg - 90.0) + math.asin(0.5) - math.atan(1.0 / SLOW_INTEGRAL)
    assert held.lead_pole_Hz == pytest.approx(math.sqrt(3.0) * spare_rad / (0.25 / 200.0) / (2.0 * math.pi), rel=3e-3)


def test_a_plant_without_phase_gets_none():
    """Nearly two integrators: −180° everywhere is beyond this lead."""
    plant = Zpk(np.zeros(0, complex), np.array([0.0, -1e-6], complex), 2.0, 0.0, 0.0)
    with pytest.raises(InputError, match="no crossover"):
        plain_lead(OpenLoop(plant, Unity(1.0), 0.0, 1, 0, 0.1, 1e5), 300.0)


def test_published_constants_by_hand():
    """Ziegler & Nichols 1942 at Ku = 8 and Tu = 2π/√3, that of 1/(s + 1)³; AMIGO (Åström & Hägglund 2006, eq. 7.7) at
    K = T = L = 1 and with L = 3."""
    ultimate = Ultimate(8.0, 2.0 * math.pi / math.sqrt(3.0))
    assert ziegler_nichols_pi(ultimate)[:3] == pytest.approx((3.6, 3.02300, 0.0), rel=1e-5)
    assert ziegler_nichols_pid(ultimate)[:3] == pytest.approx((4.8, 1.81380, 0.453450), rel=1e-5)
    assert amigo_pi(DelayedLag(1.0, 1.0, 1.0))[:2] == pytest.approx((0.25, 1.0))
    assert amigo_pid(DelayedLag(1.0, 1.0, 1.0))[:3] == pytest.approx((0.65, 1.2 / 1.1, 0.5 / 1.3))
    # L = 3: K = 0.15 + (0.35 − 3/16)/3, Ti = 1.05 + 39/(1 + 36 + 63)
    assert amigo_pi(DelayedLag(1.0, 1.0, 3.0))[:2] == pytest.approx((0.15 + 0.1625 / 3.0, 1.05 + 13 * 3 / 100.0))
