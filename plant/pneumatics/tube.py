"""Pneumatic line between valve and cuff: a chain of resistance–inertance–compliance sections, or none.

With N sections of length l/N (π sections: half of each section's air at either end):
    node i:    V_i dp_i/dt = n p_ref (T/T0) (q_i − q_{i+1})
    section i: (ρ0 l / N A) dq_i/dt = p_{i−1} − p_i − (R/N) (p_ref T/(T0 p_abs)) q_i,    R = 8 μ l / (π r⁴)
q is flow at the ANR reference atmosphere, so its inertance does not depend on line pressure while its resistance
does. Poiseuille resistance is the low-frequency limit of the viscous line (Womersley; Nichols 1962): it under-states
losses above a Womersley number of about 2; a loss factor makes up for it at one frequency.
"""
from __future__ import annotations

import math
from typing import Annotated, Any, NamedTuple

import numpy as np
from numba import types
from numba.extending import overload
from numpy.typing import NDArray

from plant.declare import compiled, inlined, quantity
from plant.linear import Linear, linear, static
from plant.parts import line_end_volume, line_node, line_rates
from plant.pneumatics.air import Air, chamber_rate, expansion, rigid_rate
from plant.units import PASCAL_PER_MMHG, REFERENCE_DENSITY_kg_m3

AIR_VISCOSITY_Pa_s = 1.813e-5  # at 20 °C, handbook value
SECTIONS_MOST = 16
SOUND_m_s = 343.0  # in air at 20 °C, handbook value


class Tube(NamedTuple):
    """A round tube full of air; `sections` fixes how many lumps stand for it."""

    length_m: Annotated[float, quantity("m", 0.01, 10, "length", "invented")] = 0.10
    diameter_mm: Annotated[float, quantity("mm", 0.3, 10, "inner diameter", "common practice: 1.5–3 mm")] = 2.0
    sections: Annotated[int, quantity("1", 0, SECTIONS_MOST, "lumps; 0: one per 0.15 m", "common practice")] = 1
    valve_volume_mL: Annotated[
        float, quantity("mL", 0.01, 100, "air in valve outlet and fittings", "invented")
    ] = 0.15
    loss_factor: Annotated[
        float, quantity("1", 0, 50, "losses, multiple of Poiseuille's; 0 lets a rig file match them", "1 for slow flow")
    ] = 1.0
    inertance_factor: Annotated[
        float, quantity("1", 0, 2, "inertance, multiple of plug flow's; 0 as above", "1 … 4/3, Womersley 1955")
    ] = 1.0


class LineState(NamedTuple):
    """Node pressures from the valve end on (mmHg) and section flows (mL/s ANR), N of each."""

    pressures_mmHg: tuple[float, ...]
    flows_mL_s: tuple[float, ...]


class NoTube(NamedTuple):
    """No line at all: the valve sits on the cuff."""

    unused: Annotated[float, quantity("1", 0, 0, "a part must have a field", "none")] = 0.0


class NoLineState(NamedTuple):
    """Nothing to remember."""

    unused: float


def initial_line(tube: Tube | NoTube) -> LineState | NoLineState:
    """A line at rest at ambient pressure; the number of sections becomes part of its type."""
    if isinstance(tube, NoTube):
        return NoLineState(0.0)
    return LineState((0.0,) * tube.sections, (0.0,) * tube.sections)


@compiled
def tube_volume(tube: Tube) -> float:
    """Air volume of the whole tube [mL]."""
    radius_cm = 0.05 * tube.diameter_mm
    return math.pi * radius_cm * radius_cm * (100.0 * tube.length_m)


@compiled
def tube_inertance(tube: Tube) -> float:
    """ρ0 l / A of the whole tube, times its inertance factor [mmHg·s²/mL]."""
    radius_m = 0.5e-3 * tube.diameter_mm
    area_m2 = math.pi * radius_m * radius_m
    return tube.inertance_factor * REFERENCE_DENSITY_kg_m3 * tube.length_m / area_m2 * 1e-6 / PASCAL_PER_MMHG


@compiled
def tube_resistance(tube: Tube) -> float:
    """Poiseuille resistance 8 μ l / (π r⁴) of the whole tube, times its loss factor, per actual flow [mmHg·s/mL]."""
    radius_m = 0.5e-3 * tube.diameter_mm
    square = radius_m * radius_m
    poiseuille = 8.0 * AIR_VISCOSITY_Pa_s * tube.length_m / (math.pi * square * square)
    return tube.loss_factor * poiseuille * 1e-6 / PASCAL_PER_MMHG


@inlined
def section_rate(tube: Tube, air: Air, before_mmHg: float, after_mmHg: float, flow_mL_s: float) -> float:
    """Rate of the flow [mL/s²] in one section between two node pressures [mmHg]."""
    absolute = 0.5 * (before_mmHg + after_mmHg) + air.atmosphere_mmHg
    resistance = tube_resistance(tube) * expansion(air) / tube.sections / absolute
    drop = before_mmHg - after_mmHg - resistance * flow_mL_s
    return drop * (tube.sections / tube_inertance(tube))


def node_rates(tube: Any, air: Any, volume_mL: Any, inflow_mL_s: Any, pressures: Any, flows: Any) -> Any:
    """Rates of all node pressures: the first node has `volume_mL`, the others one section's air each."""
    rate = rigid_rate(air, volume_mL, inflow_mL_s - flows[0])
    if len(pressures) == 1:
        return (rate,)
    return (rate, *node_rates(tube, air, tube_volume(tube) / tube.sections, flows[0], pressures[1:], flows[1:]))


def flow_rates(tube: Any, air: Any, cuff_mmHg: Any, pressures: Any, flows: Any) -> Any:
    """Rates of all section flows, the last of which ends in the cuff."""
    if len(pressures) == 1:
        return (section_rate(tube, air, pressures[0], cuff_mmHg, flows[0]),)
    rate = section_rate(tube, air, pressures[0], pressures[1], flows[0])
    return (rate, *flow_rates(tube, air, cuff_mmHg, pressures[1:], flows[1:]))


@overload(node_rates, jit_options={"error_model": "numpy"})
def _node_rates(tube, air, volume_mL, inflow_mL_s, pressures, flows):  # type: ignore[no-untyped-def]
    if isinstance(pressures, types.UniTuple) and pressures.count == 1:
        return lambda tube, air, volume_mL, inflow_mL_s, pressures, flows: (
            rigid_rate(air, volume_mL, inflow_mL_s - flows[0]),
        )
    return lambda tube, air, volume_mL, inflow_mL_s, pressures, flows: (
        rigid_rate(air, volume_mL, inflow_mL_s - flows[0]),
        *node_rates(tube, air, tube_volume(tube) / tube.sections, flows[0], pressures[1:], flows[1:]),
    )


@overload(flow_rates, jit_options={"error_model": "numpy"})
def _flow_rates(tube, air, cuff_mmHg, pressures, flows):  # type: ignore[no-untyped-def]
    if isinstance(pressures, types.UniTuple) and pressures.count == 1:
        return lambda tube, air, cuff_mmHg, pressures, flows: (
            section_rate(tube, air, pressures[0], cuff_mmHg, flows[0]),
        )
    return lambda tube, air, cuff_mmHg, pressures, flows: (
        section_rate(tube, air, pressures[0], pressures[1], flows[0]),
        *flow_rates(tube, air, cuff_mmHg, pressures[1:], flows[1:]),
    )


@line_rates.of(Tube)
def tube_rates(
    tube: Tube, air: Air, state: LineState, inflow_mL_s: float, cuff_mmHg: float
) -> tuple[LineState, float]:
    """Rates of all nodes and sections, and the flow that leaves into the cuff [mL/s ANR]."""
    first_mL = tube.valve_volume_mL + 0.5 * tube_volume(tube) / tube.sections
    pressures = node_rates(tube, air, first_mL, inflow_mL_s, state.pressures_mmHg, state.flows_mL_s)
    flows = flow_rates(tube, air, cuff_mmHg, state.pressures_mmHg, state.flows_mL_s)
    return LineState(pressures, flows), state.flows_mL_s[-1]


@line_node.of(Tube)
def tube_node(tube: Tube, state: LineState, cuff_mmHg: float) -> float:
    """Pressure at the valve end [mmHg]."""
    return state.pressures_mmHg[0]


@line_end_volume.of(Tube)
def tube_end_volume(tube: Tube) -> float:
    """Half of the last section's air counts with the cuff [mL]."""
    return 0.5 * tube_volume(tube) / tube.sections


@line_rates.of(NoTube)
def no_tube_rates(
    tube: NoTube, air: Air, state: NoLineState, inflow_mL_s: float, cuff_mmHg: float
) -> tuple[NoLineState, float]:
    """All inflow goes straight into the cuff."""
    return NoLineState(0.0), inflow_mL_s


@line_node.of(NoTube)
def no_tube_node(tube: NoTube, state: NoLineState, cuff_mmHg: float) -> float:
    """The valve end is the cuff [mmHg]."""
    return cuff_mmHg


@line_end_volume.of(NoTube)
def no_tube_end_volume(tube: NoTube) -> float:
    """No air of its own [mL]."""
    return 0.0


def linear_twin(tube: Tube | NoTube, air: Air, pressure_mmHg: float, flow_mL_s: float = 0.0) -> Linear:
    """Twin: (`valve_flow`, `cuff_pressure`) to (`node_pressure`, `line_flow`), at a line pressure [mmHg].

    `flow_mL_s` is the steady flow along the line; its pressure drop is left out of the operating point (small).
    """
    if isinstance(tube, NoTube):
        return static([[0.0, 1.0], [1.0, 0.0]], "valve_flow cuff_pressure", "node_pressure line_flow")
    n = tube.sections
    absolute = pressure_mmHg + air.atmosphere_mmHg
    inertance = tube_inertance(tube) / n
    resistance = tube_resistance(tube) / n * expansion(air) / absolute
    by_density = 0.5 * resistance * flow_mL_s / absolute  # thinner air at lower pressure: a little more drop
    a, b = np.zeros((2 * n, 2 * n)), np.zeros((2 * n, 2))
    for i in range(n):
        volume = tube_volume(tube) / n if i else tube.valve_volume_mL + 0.5 * tube_volume(tube) / n
        fill = chamber_rate(air, volume, 0.0, pressure_mmHg, 1.0)
        a[i, n + i] -= fill
        if i:
            a[i, n + i - 1] += fill
        else:
            b[i, 0] = fill
        a[n + i, i] += (1.0 + by_density) / inertance
        a[n + i, n + i] -= resistance / inertance
        if i + 1 < n:
            a[n + i, i + 1] -= (1.0 - by_density) / inertance
        else:
            b[n + i, 1] = -(1.0 - by_density) / inertance
    c = np.zeros((2, 2 * n))
    c[0, 0] = c[1, 2 * n - 1] = 1.0
    names = " ".join([f"node_{i}" for i in range(n)] + [f"section_{i}" for i in range(n)])
    return linear(a, b, c, np.zeros((2, 2)), "valve_flow cuff_pressure", "node_pressure line_flow", names)


def viscous_line(
    tube: Tube, air: Air, pressure_mmHg: float, omega: NDArray[np.float64]
) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    """Exact viscous line: series impedance per metre and shunt admittance per metre at `omega` [rad/s], ANR units.

    Z = jω ρ/A / (1 − F(α j^{3/2})), F(z) = 2 J1(z)/(z J0(z)), α the Womersley number (Womersley 1955; Nichols 1962);
    compression with the polytropic exponent of `air`. Units mmHg·s/(mL·m) and mL/(s·mmHg·m).
    """
    from scipy.special import jv

    absolute = pressure_mmHg + air.atmosphere_mmHg
    radius_m = 0.5e-3 * tube.diameter_mm
    density = REFERENCE_DENSITY_kg_m3 * absolute / expansion(air)
    alpha = radius_m * np.sqrt(omega * density / AIR_VISCOSITY_Pa_s)
    z = alpha * np.exp(0.75j * np.pi)
    friction = 2.0 * jv(1, z) / (z * jv(0, z))
    plug = tube_inertance(tube._replace(inertance_factor=1.0)) / tube.length_m
    series = 1j * omega * plug / (1.0 - friction)
    per_metre_mL = tube_volume(tube) / tube.length_m
    shunt = 1j * omega * per_metre_mL / (air.polytropic_exponent * expansion(air))
    return np.asarray(series, complex), np.asarray(shunt, complex)


def matched_factors(
    tube: Tube, air: Air, pressure_mmHg: float, frequency_Hz: float | None = None
) -> tuple[float, float]:
    """Loss and inertance factors that give the lumps the exact viscous line's series impedance at one frequency.

    Without a frequency: the quarter-wave frequency of the line, where it costs most, but no higher than 250 Hz.
    """
    quarter_wave = SOUND_m_s / (4.0 * tube.length_m)
    omega = 2.0 * math.pi * (frequency_Hz or min(quarter_wave, 250.0))
    series, _ = viscous_line(tube, air, pressure_mmHg, np.array([omega]))
    bare = tube._replace(loss_factor=1.0, inertance_factor=1.0)
    resistance = tube_resistance(bare) * expansion(air) / (pressure_mmHg + air.atmosphere_mmHg) / tube.length_m
    inertance = omega * tube_inertance(bare) / tube.length_m
    return float(series[0].real / resistance), float(series[0].imag / inertance)
