"""The sampled plant: against scipy, against the simulated continuous plant, and its three forms against each other."""
import cmath
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from controller.margins.loop import Loop
from controller.margins.sampled import Discrete, SampledPlant, augmented, sample, sampled_plant, sampled_response
from controller.response import response
from controller.tick.timing import Timing
from plant.linear import Linear, linear
from plant.operating_point import plant_twin

few = settings(max_examples=40, deadline=None)
Matrix = NDArray[np.float64]
T = 0.001
dead_ticks = st.integers(0, 15) | st.floats(0, 15)
angles = st.floats(1e-3, np.pi)  # ωT, up to the Nyquist frequency


@st.composite
def twins(draw: st.DrawFn) -> Linear:
    """Random plants with poles to some hundred Hz, stable or not, driven by `command` among others."""
    rng, n = np.random.default_rng(draw(st.integers(0, 10**6))), draw(st.integers(1, 6))
    a = rng.normal(size=(n, n)) * draw(st.floats(1, 600)) / np.sqrt(n)
    inputs, outputs = ("arterial_pressure", "command"), ("reading", "area", "light")
    return Linear(a, rng.normal(size=(n, 2)) * 100.0, rng.normal(size=(3, n)), np.zeros((3, 2)), inputs, outputs,
                  tuple(f"x{i}" for i in range(n)))


def sampled_at(twin: Linear, ticks: float) -> Discrete:
    return sample(twin, Timing(period_s=T, dead_time_s=ticks * T))


def size(discrete: Discrete) -> float:
    return float(np.abs(discrete.new).max() + np.abs(discrete.old).max()) + 1e-12


def direct(discrete: Discrete, omega: float) -> NDArray[np.complex128]:
    """Light and reading by the definition: C (zI − Φ)⁻¹ (Γ2 z^−w + Γ1 z^−(w+1)) at z = e^{jωT}."""
    z = cmath.exp(1j * omega * discrete.period_s)
    w = discrete.whole_ticks
    entering = discrete.new * z**-w + discrete.old * z ** -(w + 1)
    return np.asarray(discrete.c @ np.linalg.solve(z * np.eye(len(discrete.phi)) - discrete.phi, entering))


# --- matrices ---------------------------------------------------------------------------------------------------


@few
@given(twins(), st.integers(0, 15))
def test_whole_ticks_are_scipys_zero_order_hold(twin: Linear, ticks: int) -> None:
    from scipy.signal import cont2discrete

    discrete = sampled_at(twin, ticks)
    phi, gamma, _, _, _ = cont2discrete((twin.a, twin.b[:, 1:], twin.c, twin.d[:, 1:]), T, "zoh")
    assert discrete.whole_ticks == ticks
    np.testing.assert_allclose(discrete.phi, phi, rtol=1e-10, atol=1e-12)
    np.testing.assert_allclose(discrete.new, gamma[:, 0], rtol=1e-10, atol=1e-12 * size(discrete))
    assert not discrete.old.any()
    np.testing.assert_array_equal(discrete.c, twin.c[[2, 0]])  # light first, then reading


@few
@given(twins(), st.integers(0, 3), st.floats(0.01, 0.99))
def test_a_fraction_is_the_plant_simulated_in_fine_steps(twin: Linear, whole: int, share: float) -> None:
    """Fourth-order Runge–Kutta with a hundred steps before the command changes and a hundred after."""
    discrete, command = sampled_at(twin, whole + share), twin.b[:, 1]
    rng = np.random.default_rng(1)
    x, old, new = rng.normal(size=len(twin.a)), 0.7, -0.4

    def advanced(state: Matrix, held: float, duration: float) -> Matrix:
        h = duration / 100
        for _ in range(100):
            k1 = twin.a @ state + command * held
            k2 = twin.a @ (state + 0.5 * h * k1) + command * held
            k3 = twin.a @ (state + 0.5 * h * k2) + command * held
            k4 = twin.a @ (state + h * k3) + command * held
            state = state + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
        return state

    fine = advanced(advanced(x, old, share * T), new, (1.0 - share) * T)
    np.testing.assert_allclose(discrete.phi @ x + discrete.old * old + discrete.new * new, fine, rtol=1e-8, atol=1e-9)


@few
@given(twins(), dead_ticks)
def test_a_steady_command_does_not_care_when_it_arrives(twin: Linear, ticks: float) -> None:
    """Γ1 + Γ2 is the Γ of no dead time, and Φ is the same."""
    late, prompt = sampled_at(twin, ticks), sampled_at(twin, 0.0)
    np.testing.assert_allclose(late.phi, prompt.phi, rtol=1e-9, atol=1e-11)
    np.testing.assert_allclose(late.old + late.new, prompt.new, rtol=1e-9, atol=1e-11 * size(prompt))


# --- frequency response -----------------------------------------------------------------------------------------


def gain(plant: SampledPlant, angle: float) -> complex:
    return complex(sampled_response(plant, angle / T))


@few
@given(twins(), dead_ticks, angles, st.floats(0.1, 5), st.floats(0.01, 2))
def test_response_is_the_direct_solve(
    twin: Linear, ticks: float, angle: float, by_demand: float, slope: float
) -> None:
    discrete = sampled_at(twin, ticks)
    light = direct(discrete, angle / T)[0]
    found = gain(sampled_plant(discrete, by_demand, 0.0, slope), angle)
    assert found == pytest.approx(by_demand * light / slope, rel=1e-8, abs=1e-9 * size(discrete))


@few
@given(twins(), dead_ticks, angles, st.floats(-1e-3, 1e-3))
def test_inner_loop_of_the_stage(twin: Linear, ticks: float, angle: float, by_reading: float) -> None:
    """u = d + s·reading, reading = G u: so light = G_l d/(1 − s G_r)."""
    discrete = sampled_at(twin, ticks)
    light, reading = direct(discrete, angle / T)
    found = gain(sampled_plant(discrete, 1.0, by_reading, 1.0), angle)
    assert found == pytest.approx(light / (1.0 - by_reading * reading), rel=1e-7, abs=1e-9 * size(discrete))


@few
@given(twins(), st.integers(0, 12), st.sampled_from([0.0, 0.3, 0.75]), angles)
def test_whole_ticks_of_delay_multiply_by_a_power_of_z(twin: Linear, ticks: int, share: float, angle: float) -> None:
    prompt, late = (sampled_plant(sampled_at(twin, w + share), 1.0, 0.0, 1.0) for w in (0, ticks))
    assert gain(late, angle) == pytest.approx(gain(prompt, angle) * cmath.exp(-1j * angle * ticks), rel=1e-9)


@few
@given(twins(), dead_ticks, angles, st.floats(0.1, 5), st.just(0.0) | st.floats(-1e-3, 1e-3), st.floats(0.01, 2))
def test_augmented_matrices_have_the_same_response(
    twin: Linear, ticks: float, angle: float, by_demand: float, by_reading: float, slope: float
) -> None:
    """The delay line as states, ten ticks and more of it, says what z^−w says."""
    discrete = sampled_at(twin, ticks)
    a, b, c = augmented(discrete, by_demand, by_reading, slope)
    assert len(a) == len(twin.a) + discrete.whole_ticks + (discrete.share > 0.0)
    value = c @ np.linalg.solve(cmath.exp(1j * angle) * np.eye(len(a)) - a, b.astype(complex))
    found = gain(sampled_plant(discrete, by_demand, by_reading, slope), angle)
    assert found == pytest.approx(value, rel=1e-7, abs=1e-9 * size(discrete) * by_demand / slope)


@settings(max_examples=15, deadline=None)
@given(st.from_type(Loop), angles)
def test_the_same_holds_for_rigs(loop: Loop, angle: float) -> None:
    """Real plants: lightly damped lines, creeping walls and slow reservoirs in one matrix."""
    slopes = loop.by_demand, loop.by_reading, loop.light_slope
    light, reading = direct(loop.discrete, angle / T)
    expected = loop.by_demand * light / (1.0 - loop.by_reading * reading) / loop.light_slope
    a, b, c = augmented(loop.discrete, *slopes)
    value = c @ np.linalg.solve(cmath.exp(1j * angle) * np.eye(len(a)) - a, b.astype(complex))
    found = gain(sampled_plant(loop.discrete, *slopes), angle)
    assert found == pytest.approx(expected, rel=1e-8, abs=1e-12)
    assert value == pytest.approx(expected, rel=1e-8, abs=1e-12)


@settings(max_examples=15, deadline=None)
@given(st.from_type(Loop))
def test_twins_have_no_direct_path(loop: Loop) -> None:
    """`sample` leaves D out: photodiode and transducer are lags, so light and reading never jump with the command."""
    twin = plant_twin(loop.plant, loop.point, loop.side)
    rows = [twin.outputs.index("light"), twin.outputs.index("reading")]
    assert not twin.d[rows, twin.inputs.index("command")].any()


# --- repeated poles ---------------------------------------------------------------------------------------------


def chain(poles: list[float]) -> Linear:
    """Lags (or integrators) in series, defective where poles repeat: each drives the next."""
    n = len(poles)
    a = np.diag(poles) + np.diag(np.ones(n - 1), -1) * 200.0
    b, c = np.zeros((n, 1)), np.zeros((2, n))
    b[0, 0], c[:, -1] = 200.0, 1.0
    return linear(a, b, c, np.zeros((2, 1)), "command", "light reading", " ".join(f"x{i}" for i in range(n)))


@pytest.mark.parametrize("poles", [[-200.0] * 2, [-200.0] * 5, [0.0] * 3, [0.0, 0.0, -300.0, -300.0]])
@pytest.mark.parametrize("ticks", [0.0, 1.4, 11.0])
def test_repeated_poles_are_safe(poles: list[float], ticks: float) -> None:
    """Nothing is divided by the difference of two poles: no eigenvectors are used, which do not exist here."""
    discrete = sampled_at(chain(poles), ticks)
    plant = sampled_plant(discrete, 1.0, 0.0, 1.0)
    for angle in (0.03, 0.3, 1.0, 3.0):
        assert gain(plant, angle) == pytest.approx(direct(discrete, angle / T)[0], rel=1e-6)


def test_three_equal_lags_at_low_frequency() -> None:
    """Well below Nyquist the sampled plant is the continuous one behind hold and dead time: 1/(1 + s/200)³."""
    plant, omega = sampled_plant(sampled_at(chain([-200.0] * 3), 2.5), 1.0, 0.0, 1.0), 5.0
    continuous = (1.0 + 1j * omega / 200.0) ** -3 * cmath.exp(-1j * omega * 3.0 * T)  # 2.5 ticks and half a hold
    assert gain(plant, omega * T) == pytest.approx(continuous, rel=1e-5)


# --- compiled ---------------------------------------------------------------------------------------------------


def test_the_verb_finds_it(make_loop: Callable[..., Loop]) -> None:
    loop = make_loop()
    plant: Any = sampled_plant(loop.discrete, loop.by_demand, loop.by_reading, loop.light_slope)
    assert response(plant, 30.0) == sampled_response(plant, 30.0)
