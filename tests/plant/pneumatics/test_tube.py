"""The line: Poiseuille's and Newton's scalings, conservation, symmetry, its twin, and what its sections converge to."""
import math
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numba import njit

from plant.parts import line_end_volume, line_node, line_rates
from plant.pneumatics.air import Air, expansion
from plant.pneumatics.tube import (
    AIR_VISCOSITY_Pa_s,
    LineState,
    NoLineState,
    NoTube,
    Tube,
    initial_line,
    linear_twin,
    matched_factors,
    section_rate,
    tube_inertance,
    tube_rates,
    tube_resistance,
    tube_volume,
    viscous_line,
)

few = settings(max_examples=40, deadline=None)
airs = st.from_type(Air)
lengths, diameters = st.floats(0.01, 5), st.floats(0.5, 8)
tubes = st.builds(Tube, lengths, diameters, st.just(1), st.floats(0.05, 10), st.floats(0.5, 10), st.floats(0.8, 1.4))
node_pressures = st.floats(0, 300)
flows = st.floats(-50, 50)
ends = st.floats(0, 300)


def lines(sections: int) -> st.SearchStrategy[LineState]:
    return st.builds(LineState, st.tuples(*[node_pressures] * sections), st.tuples(*[flows] * sections))


@few
@given(tubes, st.floats(1.1, 3))
def test_scalings(tube: Tube, factor: float) -> None:
    """Resistance ∝ l/d⁴ (Poiseuille), inertance ∝ l/d² (Newton), volume ∝ l d²; the factors multiply their own."""
    longer = tube._replace(length_m=factor * tube.length_m)
    wider = tube._replace(diameter_mm=factor * tube.diameter_mm)
    for quantity, power in ((tube_resistance, -4), (tube_inertance, -2), (tube_volume, 2)):
        assert quantity(longer) == pytest.approx(factor * quantity(tube), rel=1e-9)
        assert quantity(wider) == pytest.approx(factor**power * quantity(tube), rel=1e-9)
    lossy = tube._replace(loss_factor=factor * tube.loss_factor)
    heavy = tube._replace(inertance_factor=factor * tube.inertance_factor)
    assert tube_resistance(lossy) == pytest.approx(factor * tube_resistance(tube), rel=1e-9)
    assert tube_inertance(heavy) == pytest.approx(factor * tube_inertance(tube), rel=1e-9)


def test_values_in_SI() -> None:
    """One metre of 2 mm tube: π mm² × 1 m = π mL, 8 μ l/(π r⁴), ρ l/A, with 1 mmHg = 133.322 Pa."""
    tube = Tube(length_m=1.0, diameter_mm=2.0)
    assert tube_volume(tube) == pytest.approx(math.pi, rel=1e-12)
    resistance = 8.0 * AIR_VISCOSITY_Pa_s / (math.pi * 1e-12)  # Pa·s/m³
    assert tube_resistance(tube) == pytest.approx(resistance / 133.322 / 1e6, rel=1e-9)
    assert tube_inertance(tube) == pytest.approx(1.185 / (math.pi * 1e-6) / 133.322 / 1e6, rel=1e-9)


@few
@given(tubes, airs, ends, ends, flows)
def test_section_works_the_same_both_ways(tube: Tube, air: Air, before: float, after: float, flow: float) -> None:
    """Ends exchanged and flow reversed: the mirror image. Friction opposes flow."""
    rate = section_rate(tube, air, before, after, flow)
    assert section_rate(tube, air, after, before, -flow) == pytest.approx(-rate, rel=1e-9, abs=1e-6)
    assert section_rate(tube, air, before, before, flow) * flow <= 0.0


@few
@given(tubes, airs, lines(3), flows, ends)
def test_air_is_conserved(tube: Tube, air: Air, state: LineState, inflow: float, cuff: float) -> None:
    """What the nodes gain is what comes in less what leaves: Σ V_i dp_i/dt = n p_ref (T/T0) (q_in − q_out)."""
    tube = tube._replace(sections=3)
    rates, outflow = tube_rates(tube, air, state, inflow, cuff)
    assert outflow == state.flows_mL_s[-1]
    third = tube_volume(tube) / 3
    volumes = [tube.valve_volume_mL + 0.5 * third, third, third]
    gained = sum(v * r for v, r in zip(volumes, rates.pressures_mmHg, strict=True))
    expected = air.polytropic_exponent * expansion(air) * (inflow - outflow)
    assert gained == pytest.approx(expected, rel=1e-9, abs=1e-6 * air.polytropic_exponent * expansion(air))
    assert sum(volumes) + line_end_volume(tube) == pytest.approx(tube.valve_volume_mL + tube_volume(tube), rel=1e-12)


@njit
def all_verbs(tube: Any, air: Any, state: Any, inflow: float, cuff: float) -> Any:
    return line_rates(tube, air, state, inflow, cuff), line_node(tube, state, cuff), line_end_volume(tube)


@few
@given(tubes, airs, lines(3), flows, ends)
def test_compiled_and_interpreted_agree(tube: Tube, air: Air, state: LineState, inflow: float, cuff: float) -> None:
    """The unrolled recursion is the same as the interpreted one."""
    tube = tube._replace(sections=3)
    (rates, outflow), node, end_volume = all_verbs(tube, air, state, inflow, cuff)
    theirs, their_outflow = tube_rates.py_func(tube, air, state, inflow, cuff)
    assert (outflow, node, end_volume) == (their_outflow, state.pressures_mmHg[0], line_end_volume(tube))
    for a, b in zip(rates, theirs, strict=True):
        assert a == pytest.approx(b, rel=1e-9, abs=1e-6)


def test_no_tube_is_nothing() -> None:
    """The valve sits on the cuff: flow passes, pressures are one, no air of its own."""
    (rates, outflow), node, volume = all_verbs(NoTube(), Air(), NoLineState(0.0), 3.5, 80.0)
    assert (rates, outflow, node, volume) == (NoLineState(0.0), 3.5, 80.0, 0.0)
    twin = linear_twin(NoTube(), Air(), 80.0)
    np.testing.assert_array_equal(twin.d, [[0.0, 1.0], [1.0, 0.0]])
    assert initial_line(NoTube()) == NoLineState(0.0)


def test_initial_line_has_its_sections() -> None:
    """At rest at ambient pressure, N nodes and N flows; at rest it stays."""
    state = initial_line(Tube(sections=3))
    assert state == LineState((0.0,) * 3, (0.0,) * 3)
    rates, outflow = tube_rates(Tube(sections=3), Air(), state, 0.0, 0.0)
    assert rates == state and outflow == 0.0


@few
@given(tubes, airs, st.sampled_from([1, 3]), st.floats(20, 300), st.floats(-5, 5))
def test_twin_is_the_slope_of_the_compiled_functions(
    tube: Tube, air: Air, sections: int, pressure: float, flow: float
) -> None:
    """A, B, C, D by central differences, all nodes at one pressure and one steady flow through all sections."""
    tube = tube._replace(sections=sections)
    n = sections

    def model(x: np.ndarray) -> np.ndarray:
        values = [float(v) for v in x]
        state = LineState(tuple(values[:n]), tuple(values[n : 2 * n]))
        rates, outflow = tube_rates(tube, air, state, values[-2], values[-1])
        return np.array([*rates.pressures_mmHg, *rates.flows_mL_s, line_node(tube, state, values[-1]), outflow])

    x = np.array([pressure] * n + [flow] * (n + 1) + [pressure])
    numeric = np.column_stack([(model(x + h) - model(x - h)) / 2e-2 for h in 1e-2 * np.eye(len(x))])
    twin = linear_twin(tube, air, pressure, flow)
    ours = np.block([[twin.a, twin.b], [twin.c, twin.d]])
    for row, reference in zip(ours, numeric, strict=True):
        np.testing.assert_allclose(row, reference, rtol=1e-5, atol=1e-7 * np.max(np.abs(row)))


@few
@given(tubes, airs, st.floats(0, 300))
def test_viscous_line_at_low_frequency(tube: Tube, air: Air, pressure: float) -> None:
    """Z → R + 4/3 jωI: Poiseuille's resistance and a parabolic profile's inertance, as Womersley's series has it."""
    tube = tube._replace(loss_factor=1.0, inertance_factor=1.0)
    density = 1.185 * (pressure + air.atmosphere_mmHg) / expansion(air)
    omega = np.array([0.01 * AIR_VISCOSITY_Pa_s / (density * (0.5e-3 * tube.diameter_mm) ** 2)])  # Womersley number 0.1
    series, shunt = viscous_line(tube, air, pressure, omega)
    resistance = tube_resistance(tube) / tube.length_m * expansion(air) / (pressure + air.atmosphere_mmHg)
    assert series[0].real == pytest.approx(resistance, rel=1e-4)
    assert series[0].imag == pytest.approx(4.0 / 3.0 * omega[0] * tube_inertance(tube) / tube.length_m, rel=1e-3)
    compliance = tube_volume(tube) / tube.length_m / (air.polytropic_exponent * expansion(air))
    assert shunt[0] == pytest.approx(1j * omega[0] * compliance, rel=1e-9)


@few
@given(tubes, airs, st.floats(0, 300), st.floats(0.01, 200))
def test_matched_factors_meet_the_exact_line(tube: Tube, air: Air, pressure: float, frequency: float) -> None:
    """With them the lumps' R + jωI is the viscous line's series impedance at that frequency, whatever they were."""
    loss, inertance = matched_factors(tube, air, pressure, frequency)
    matched, omega = tube._replace(loss_factor=loss, inertance_factor=inertance), 2.0 * np.pi * np.array([frequency])
    exact = viscous_line(tube, air, pressure, omega)[0][0] * tube.length_m
    resistance = tube_resistance(matched) * expansion(air) / (pressure + air.atmosphere_mmHg)
    assert resistance + 1j * omega[0] * tube_inertance(matched) == pytest.approx(exact, rel=1e-9)
    assert loss > 0.999 and 0.999 < inertance < 4.0 / 3.0 + 1e-3


def test_matched_factors_by_default_are_those_of_the_quarter_wave() -> None:
    """A metre of tube resonates at c/4l, 86 Hz; a very short one far above what the servo knows, hence 250 Hz."""
    air = Air()
    for length, frequency in ((1.0, 343.0 / 4.0), (0.1, 250.0)):
        tube = Tube(length_m=length)
        assert matched_factors(tube, air, 90.0) == matched_factors(tube, air, 90.0, frequency)


@pytest.mark.parametrize(("length", "diameter"), [(1.2, 2.0), (3.0, 3.0)])
def test_sections_converge_to_the_distributed_line(length: float, diameter: float) -> None:
    """π sections with constant R, I, C tend to the telegraph line, four times nearer with each doubling."""
    air, omega, pressure = Air(), 2.0 * np.pi * np.array([5.0, 20.0]), 90.0
    errors = []
    for sections in (4, 8, 16):
        tube = Tube(length, diameter, sections, 0.01)
        end = tube_volume(tube) / (2 * sections)  # the last half section's air, here closed off at the far end
        per_flow = air.polytropic_exponent * expansion(air) / end
        twin = linear_twin(tube, air, pressure)
        through, back = (twin.response("line_flow", name, omega) for name in ("valve_flow", "cuff_pressure"))
        far = through * per_flow / (1j * omega) / (1.0 - back * per_flow / (1j * omega))
        resistance = tube_resistance(tube) / length * expansion(air) / (pressure + air.atmosphere_mmHg)
        series = resistance + 1j * omega * tube_inertance(tube) / length
        _, shunt = viscous_line(tube, air, pressure, omega)
        spread, wave = np.sqrt(series * shunt) * length, np.sqrt(series / shunt)
        valve_end = 1j * omega * tube.valve_volume_mL / (air.polytropic_exponent * expansion(air))
        exact = 1.0 / (np.sinh(spread) / wave + valve_end * np.cosh(spread))
        errors.append(np.abs(far / exact - 1.0))
    for coarse, fine in pairwise(errors):
        np.testing.assert_allclose(coarse / fine, 4.0, rtol=0.15)
    assert np.all(errors[-1] < 0.01)
