"""A rig's loop: margins, closed-loop poles and python-control must tell one story."""
import math
import warnings
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from controller.margins.loop import (
    Loop,
    build_loop,
    closed_loop_poles,
    exact_delay_margin,
    loop_margins,
    open_loop,
    resting_demand,
    sampled,
    sides,
)
from controller.margins.sampled import sample
from controller.response import sweep
from controller.tick.inverse import Direct, FlowInverse, valve_command
from controller.tick.law import Controller, controller_linear
from controller.tick.timing import Timing
from plant.assembly import Plant
from plant.finger.vein import Vein
from plant.operating_point import plant_twin
from plant.pneumatics.cuff import Cuff
from plant.pneumatics.flow_valve import FlowValve, side_gain
from plant.pneumatics.pressure_valve import PressureValve
from plant.pneumatics.tube import NoTube, Tube

few = settings(max_examples=20, deadline=None)
loops = st.from_type(Loop)
Make = Callable[..., Loop]
DEAD_BAND_ONLY = FlowValve(bleed_conductance=0.0)
BLEEDING = FlowValve(bleed_conductance=0.002)
RIGS = {
    "no tube, inverse": (Plant(valve=BLEEDING, tube=NoTube()), None, 1.0),
    "no tube, direct": (Plant(valve=BLEEDING, tube=NoTube()), Direct(), 0.2),
    "short tube, inverse": (Plant(valve=BLEEDING), None, 1.0),
    "long tube, inverse": (Plant(valve=BLEEDING, tube=Tube(length_m=1.2, sections=8)), None, 0.5),
    "pressure valve": (Plant(valve=PressureValve(), tube=NoTube()), None, 0.05),
}


def radius(loop: Loop, **change: float) -> float:
    return float(abs(closed_loop_poles(loop, **change)[0]))


# --- margins and poles ------------------------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(loops)
def test_margins_and_poles_agree_on_stability(loop: Loop) -> None:
    """Encirclements of −1 by the exact response against eigenvalues: as many poles outside, by two ways."""
    margins, poles = loop_margins(loop), closed_loop_poles(loop)
    assert margins.resolved
    assume(abs(abs(poles[0]) - 1.0) > 1e-9)
    assert margins.stable == (abs(poles[0]) < 1.0)
    assert margins.unstable_closed_loop_poles == np.sum(np.abs(poles) > 1.0)


@few
@given(loops)
def test_the_gain_margin_is_where_an_eigenvalue_leaves(loop: Loop) -> None:
    """A millionth less gain than the margin and all poles are inside, a millionth more and one is not."""
    margins = loop_margins(loop)
    assume(margins.stable and math.isfinite(margins.gain_margin))
    assert radius(loop, gain=margins.gain_margin * (1.0 - 1e-6)) < 1.0 < radius(
        loop, gain=margins.gain_margin * (1.0 + 1e-6))


@few
@given(loops)
def test_the_gain_reduction_margin_is_where_one_leaves_too(loop: Loop) -> None:
    """Only a loop with three or more quarter turns at low frequency has one; most may be turned down to nothing."""
    margins = loop_margins(loop)
    assume(margins.stable)
    low = margins.gain_reduction_margin
    if low > 0.0:
        assert radius(loop, gain=low * (1.0 + 1e-3)) < 1.0 < radius(loop, gain=low * (1.0 - 1e-3))
    else:
        assert radius(loop, gain=0.01) < 1.0


@few
@given(loops, st.floats(0.2, 5))
def test_gain_enters_the_poles_as_the_controllers_gain(loop: Loop, gain: float) -> None:
    c = loop.coefficients
    scaled = c._replace(
        proportional=gain * c.proportional, integral_new=gain * c.integral_new, integral_old=gain * c.integral_old,
        derivative_gain=gain * c.derivative_gain)
    largest, same = closed_loop_poles(loop, gain=gain)[0], closed_loop_poles(loop._replace(coefficients=scaled))[0]
    assert abs(largest) == pytest.approx(abs(same), rel=1e-9)


@few
@given(loops)
def test_a_pole_is_a_root_of_one_plus_the_loop(loop: Loop) -> None:
    """1 + C(z) P(z) = 0 at a closed-loop pole, with P and C put together by hand from their matrices."""
    d, (a, b, c, direct) = loop.discrete, controller_linear(loop.coefficients)
    opened = np.concatenate([np.linalg.eigvals(d.phi), np.linalg.eigvals(a)])
    # the slowest ones sit beside zeros, where rounding moves 1 + L most; others may be nobody's but the plant's own
    moved = [z for z in closed_loop_poles(loop) if abs(z - 1.0) > 1e-2 and np.min(np.abs(z - opened)) > 1e-4]
    z = moved[0]
    entering = d.new * z**-d.whole_ticks + d.old * z ** -(d.whole_ticks + 1)
    light, reading = d.c @ np.linalg.solve(z * np.eye(len(d.phi)) - d.phi, entering)
    plant = loop.by_demand * light / (1.0 - loop.by_reading * reading) / loop.light_slope
    controller = (c @ np.linalg.solve(z * np.eye(len(a)) - a, b) + direct)[0, 0]
    assert 1.0 + plant * controller == pytest.approx(0.0, abs=1e-6)


def test_poles_come_largest_first(make_loop: Make) -> None:
    sizes = np.abs(closed_loop_poles(make_loop()))
    assert np.all(np.diff(sizes) <= 0.0)
    assert len(sizes) == 9 + 3 + 1 + 5  # plant, its artery segment, one tick of delay, controller


# --- delay margin -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", RIGS)
def test_at_the_exact_delay_margin_a_pole_is_on_the_unit_circle(make_loop: Make, name: str) -> None:
    plant, stage, gain = RIGS[name]
    loop = make_loop(plant, stage=stage, gain=gain)
    guess = loop_margins(loop).delay_margin_s
    exact = exact_delay_margin(loop, guess)
    assert exact == pytest.approx(guess, rel=0.03)  # dead time within the stage's inner loop is the difference
    assert radius(loop, added_dead_time_s=exact) == pytest.approx(1.0, abs=1e-8)
    assert radius(loop, added_dead_time_s=0.999 * exact) < 1.0 < radius(loop, added_dead_time_s=1.001 * exact)


@pytest.mark.parametrize("ticks", [1, 3, 8])
@pytest.mark.parametrize("side", ["fill", "vent"])
def test_for_whole_ticks_the_textbook_delay_margin_is_exact(make_loop: Make, ticks: int, side: str) -> None:
    """Phase margin over crossover, with the gain tuned until that is a whole number of ticks (z^−w is exact)."""

    def built(log_gain: float) -> Loop:
        return make_loop(stage=Direct(), side=side, gain=10.0**log_gain)

    tuned = float(brentq(lambda g: loop_margins(built(g)).delay_margin_ticks - ticks, -1.2, 0.9, xtol=1e-13))
    loop = built(tuned)
    textbook = loop_margins(loop).delay_margin_s
    assert textbook == pytest.approx(ticks * 0.001, rel=1e-9)
    assert exact_delay_margin(loop, textbook) == pytest.approx(textbook, rel=1e-7)


def test_between_ticks_the_textbook_figure_is_off_by_aliasing_only(make_loop: Make) -> None:
    """Without an inner loop: a fraction of a tick turns the baseband alone, and the plant is slow beside the tick."""
    loop = make_loop(stage=Direct(), gain=0.2)
    guess = loop_margins(loop).delay_margin_s
    assert guess / 0.001 % 1.0 == pytest.approx(0.5, abs=0.45)  # not a whole number of ticks
    assert exact_delay_margin(loop, guess) == pytest.approx(guess, rel=1e-4)


@pytest.mark.parametrize("off", [0.6, 0.9, 1.1, 1.8])
def test_a_poor_guess_finds_the_same_crossing(make_loop: Make, off: float) -> None:
    loop = make_loop()
    exact = exact_delay_margin(loop, loop_margins(loop).delay_margin_s)
    assert exact_delay_margin(loop, off * exact) == pytest.approx(exact, rel=1e-8)


def test_without_a_crossing_in_reach_the_guess_comes_back(make_loop: Make) -> None:
    loop = make_loop()
    wild = make_loop(gain=30.0)
    assert radius(wild) > 1.0
    for case, guess in ((loop, math.inf), (loop, 0.0), (loop, 1e-5), (loop, 0.05), (wild, 0.002)):
        assert exact_delay_margin(case, guess) == guess


@few
@given(loops, st.floats(0.05, 12))
def test_added_dead_time_is_dead_time(loop: Loop, ticks: float) -> None:
    """A rig built with a longer dead time has the poles of one to which it was added; jitter, for which the fraction of
    a tick may then leave no room, is no part of this question."""
    added = ticks * loop.timing.period_s
    later = loop.timing._replace(dead_time_s=loop.timing.dead_time_s + added)
    rebuilt = loop._replace(timing=later, discrete=sample(plant_twin(loop.plant, loop.point, loop.side), later))
    nervous = loop._replace(timing=loop.timing._replace(jitter_s=(1.0 - loop.discrete.share) * loop.timing.period_s))
    assert radius(nervous, added_dead_time_s=added) == pytest.approx(radius(rebuilt), abs=1e-12)


# --- sides and normalisation ------------------------------------------------------------------------------------


def test_which_sides_there_are(make_loop: Make) -> None:
    assert sides(Plant(valve=FlowValve())) == ("fill", "vent")
    assert sides(Plant(valve=PressureValve())) == ("fill",)


def test_the_two_sides_of_a_bare_flow_valve_differ(make_loop: Make) -> None:
    """About 2.6 to 1 in gain without a cure, so as much in gain margin; with the inverse both sides are one."""
    plant = Plant(valve=DEAD_BAND_ONLY, tube=NoTube())
    bare = {side: make_loop(plant, side, stage=Direct(), gain=0.2) for side in sides(plant)}
    point = bare["fill"].point
    filling, venting = (side_gain(DEAD_BAND_ONLY, plant.air, side, point.state.cuff_mmHg, point.state.supply_mmHg)
                        for side in ("fill", "vent"))
    margins = {side: loop_margins(loop).gain_margin for side, loop in bare.items()}
    assert margins["vent"] / margins["fill"] == pytest.approx(filling / venting, rel=0.01)
    assert filling / venting == pytest.approx(2.6, abs=0.1)
    cured = [loop_margins(make_loop(plant, side)).gain_margin for side in sides(plant)]
    assert cured[1] / cured[0] == pytest.approx(1.0, abs=0.01)


def test_a_bleed_makes_the_filling_side_smooth(make_loop: Make) -> None:
    """With air always passing, the valve rests beside its dead band and the point counts as smooth."""
    assert make_loop(Plant(valve=BLEEDING, tube=NoTube())).point.smooth
    sealed = Plant(valve=DEAD_BAND_ONLY, tube=NoTube(), cuff=Cuff(leak_mL_s_mmHg=0.0))
    assert not make_loop(sealed).point.smooth


@few
@given(loops, st.floats(0.2, 5))
def test_a_light_slope_believed_too_small_is_gain(loop: Loop, factor: float) -> None:
    """The error is light over the believed slope: half the slope is twice the loop gain."""
    omega = np.array([1.0, 30.0, 300.0])
    true, believed = sweep(sampled(loop), omega), sweep(
        sampled(loop._replace(light_slope=loop.light_slope / factor)), omega)
    np.testing.assert_allclose(believed, factor * true, rtol=1e-12)


def test_light_slope_is_the_true_one_unless_given(make_loop: Make) -> None:
    loop = make_loop()
    assert loop.light_slope == loop.point.light_slope > 0.0
    other = build_loop(loop.plant, loop.point, "fill", loop.timing, loop.stage, loop.coefficients, 0.01)
    assert other.light_slope == 0.01


@few
@given(loops)
def test_resting_demand_asks_for_the_resting_command(loop: Loop) -> None:
    demand = resting_demand(loop.stage, loop.point)
    command = valve_command(loop.stage, demand, loop.point.state.reading_mmHg)
    assert command == pytest.approx(loop.point.command, abs=1e-9)


# --- open-loop poles --------------------------------------------------------------------------------------------


def test_integrators_are_counted(make_loop: Make) -> None:
    """A leaky cuff has none; a sealed cuff on an exact flow inverse is one; the controller's own comes on top."""
    proportional = Controller(kp=0.03)
    integral = Controller(kp=0.03, ti_s=0.02)
    leaky = Plant(valve=BLEEDING, tube=NoTube())
    sealed = Plant(valve=DEAD_BAND_ONLY, tube=NoTube(), cuff=Cuff(leak_mL_s_mmHg=0.0))
    counts = [open_loop(make_loop(plant, stage=stage, controller=controller)).integrators
              for plant, stage in ((leaky, Direct()), (sealed, None)) for controller in (proportional, integral)]
    assert counts == [0, 1, 1, 2]


@few
@given(loops)
def test_the_band_of_the_search(loop: Loop) -> None:
    """From where the phase has settled on its low-frequency asymptote, a quarter turn an integrator, to Nyquist."""
    opened = open_loop(loop)
    assert opened.high_rad_s == math.pi / loop.timing.period_s
    omega = opened.low_rad_s * np.array([0.1, 1.0])
    value = sweep(opened.plant, omega) * sweep(loop.coefficients, omega) * (1j * omega) ** opened.integrators
    assert np.all(np.abs(np.sin(np.angle(value))) < math.sin(math.radians(3.0)))  # on the real axis, either sign


def test_an_inverse_that_overdoes_it_is_seen_as_unstable_inside(make_loop: Make, believe: Callable[..., Any]) -> None:
    """The stage makes up for a bleed of twice the true size: its own look at the pressure is positive feedback, slow
    and unstable by itself. It is counted, and the loop around it is stable all the same."""
    plant = Plant(valve=BLEEDING, tube=NoTube(), vein=Vein())
    fooled: FlowInverse = believe(BLEEDING, bleed_conductance=0.02)
    loop = make_loop(plant, stage=fooled)
    assert open_loop(loop).unstable_poles == 1
    margins = loop_margins(loop)
    assert margins.stable
    assert radius(loop) < 1.0
    assert margins.gain_reduction_margin > 0.0  # without the outer loop it would run away


# --- python-control ---------------------------------------------------------------------------------------------


def controls_loop(loop: Loop) -> Any:
    """The same loop built by python-control alone: zero-order hold, z^−w, feedback of the stage, controller."""
    import control

    period = loop.timing.period_s
    plant = control.sample_system(plant_twin(loop.plant, loop.point, loop.side).as_control(), period, "zoh")
    plant = plant[["light", "reading"], "command"]
    if loop.discrete.whole_ticks:
        line = control.tf([1.0], [1.0] + [0.0] * loop.discrete.whole_ticks, period)
        plant = plant * control.ss(line)
    plant = control.feedback(plant, control.ss([], [], [], [[0.0, loop.by_reading]], period), sign=1)
    return plant[0, 0] * (loop.by_demand / loop.light_slope) * control.ss(*controller_linear(loop.coefficients), period)


@pytest.mark.parametrize("ticks", [0, 2])
@pytest.mark.parametrize("name", RIGS)
def test_python_control_agrees(make_loop: Make, name: str, ticks: int) -> None:
    """Gain, phase and modulus margins to 1e-6. Its state space is evaluated on a fine grid and its own margin search
    run on that: turned into polynomials, as it would do by itself, a tube's loop loses its digits."""
    import control

    plant, stage, gain = RIGS[name]
    loop = make_loop(plant, timing=Timing(dead_time_s=ticks * 0.001), stage=stage, gain=gain)
    theirs, ours = controls_loop(loop), loop_margins(loop)
    omega = np.geomspace(1.0, 0.999 * math.pi / 0.001, 3000)
    values = theirs(np.exp(1j * omega * 0.001))
    np.testing.assert_allclose(sweep(sampled(loop), omega) * sweep(loop.coefficients, omega), values, rtol=1e-8)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = control.stability_margins(control.frd(values, omega, smooth=True))
    assert found[:3] == pytest.approx((ours.gain_margin, ours.phase_margin_deg, ours.modulus_margin), rel=1e-6)


def test_python_control_agrees_on_the_closed_loop_poles(make_loop: Make) -> None:
    import control

    loop = make_loop(timing=Timing(dead_time_s=0.002))
    theirs = np.sort(np.abs(control.feedback(controls_loop(loop), 1).poles()))[-6:]
    np.testing.assert_allclose(theirs, np.sort(np.abs(closed_loop_poles(loop)))[-6:], rtol=1e-8)
