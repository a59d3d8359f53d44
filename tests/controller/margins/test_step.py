"""The small-signal step: against a recursion written out, the final value, and the frequency domain."""
import cmath
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from controller.margins.loop import Loop, closed_loop_poles
from controller.margins.step import tracking_step
from controller.tick.law import Controller, control_step, controller_linear, initial_control
from controller.tick.timing import Timing
from plant.assembly import Plant
from plant.pneumatics.flow_valve import FlowValve
from plant.pneumatics.pressure_valve import PressureValve
from plant.pneumatics.tube import NoTube

few = settings(max_examples=20, deadline=None)
loops = st.from_type(Loop)
Make = Callable[..., Loop]


def recursion(loop: Loop, ticks: int) -> NDArray[np.float64]:
    """The loop run tick by tick: the compiled control law itself, a list of past commands, the sampled plant."""
    d, wide = loop.discrete, loop.coefficients._replace(output_low=-1e200, output_high=1e200, slew_per_tick=1e200)
    x, state, out = np.zeros(len(d.phi)), initial_control(), []
    commands = [0.0] * (d.whole_ticks + 2)
    for _ in range(ticks):
        light, reading = d.c @ x
        out.append(light / loop.light_slope)
        state, demand, _ = control_step(wide, state, 0.0, 1.0 - out[-1])
        commands.append(loop.by_demand * demand + loop.by_reading * reading)
        x = d.phi @ x + d.new * commands[-1 - d.whole_ticks] + d.old * commands[-2 - d.whole_ticks]
    return np.array(out)


@few
@given(loops)
def test_it_is_the_loop_run_tick_by_tick(loop: Loop) -> None:
    """Stable or not: the same to rounding, which an unstable loop magnifies."""
    grown = max(abs(closed_loop_poles(loop)[0]), 1.0) ** 60
    expected = recursion(loop, 60)
    np.testing.assert_allclose(tracking_step(loop, 60), expected, rtol=1e-9, atol=1e-10 * grown)


@few
@given(loops, st.floats(0, np.pi), st.floats(1.02, 1.1))
def test_it_is_t_in_the_frequency_domain(loop: Loop, angle: float, growth: float) -> None:
    """Σ (y_k − y_{k−1}) z^−k = L/(1+L) for |z| = `growth`, which outgrows what the loop itself still has in it."""
    assume(abs(closed_loop_poles(loop)[0]) < 1.005)
    z, d = growth * cmath.exp(1j * angle), loop.discrete
    step = tracking_step(loop, 2500)
    found = np.sum(np.diff(step, prepend=0.0) * z ** -np.arange(2500.0))
    entering = d.new * z**-d.whole_ticks + d.old * z ** -(d.whole_ticks + 1)
    light, reading = d.c @ np.linalg.solve(z * np.eye(len(d.phi)) - d.phi, entering)
    plant = loop.by_demand * light / (1.0 - loop.by_reading * reading) / loop.light_slope
    a, b, c, direct = controller_linear(loop.coefficients)
    open_loop = plant * (c @ np.linalg.solve(z * np.eye(len(a)) - a, b) + direct)[0, 0]
    assert found == pytest.approx(open_loop / (1.0 + open_loop), rel=1e-6, abs=1e-9)


def settled(loop: Loop) -> float:
    """Where the step ends, once the slowest pole has died away to 1e-7."""
    return float(tracking_step(loop, int(np.log(1e-7) / np.log(abs(closed_loop_poles(loop)[0]))))[-1])


@pytest.mark.parametrize("valve", [PressureValve(), FlowValve(bleed_conductance=0.002)])
def test_integral_action_ends_at_one(make_loop: Make, valve: PressureValve | FlowValve) -> None:
    """T(1) = 1: whatever the plant's gain, no error stays."""
    gain = 0.05 if isinstance(valve, PressureValve) else 1.0
    assert settled(make_loop(Plant(valve=valve, tube=NoTube()), gain=gain)) == pytest.approx(1.0, abs=1e-6)


def test_without_integral_action_an_error_stays(make_loop: Make) -> None:
    """L/(1 + L) at z = 1, with L the plant's gain at rest times Kp: a pressure-type valve is no integrator."""
    loop = make_loop(Plant(valve=PressureValve(), tube=NoTube()), controller=Controller(kp=0.005))
    d = loop.discrete
    light = d.c[0] @ np.linalg.solve(np.eye(len(d.phi)) - d.phi, d.new + d.old)
    at_rest = 0.005 * light / loop.light_slope
    assert settled(loop) == pytest.approx(at_rest / (1.0 + at_rest), abs=1e-6)
    assert 0.5 < settled(loop) < 0.9


@pytest.mark.parametrize("dead_time_s", [0.0, 0.001, 0.0025, 0.007])
def test_nothing_happens_before_the_dead_time_is_over(make_loop: Make, dead_time_s: float) -> None:
    step = tracking_step(make_loop(timing=Timing(dead_time_s=dead_time_s), gain=0.3), 30)
    first = int(np.flatnonzero(np.abs(step) > 0.0)[0])
    assert first == int(np.floor(dead_time_s / 0.001)) + 1  # one tick for the plant to move at all


def test_twice_the_gain_is_twice_as_quick_at_first(make_loop: Make) -> None:
    """Before feedback arrives the answer is in proportion to the gain."""
    quiet, loud = (tracking_step(make_loop(gain=g), 3) for g in (0.4, 0.8))
    assert quiet[2] > 0.0  # towards what is to be followed
    assert loud[2] == pytest.approx(2.0 * quiet[2], rel=1e-12)


def test_shape(make_loop: Make) -> None:
    assert tracking_step(make_loop(), 7).shape == (7,)
    assert tracking_step(make_loop(), 1).tolist() == [0.0]
