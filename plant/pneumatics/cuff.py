"""Cuff: an air bladder that grows with its pressure, leaks, and exchanges heat with its walls.

V(p) = V0 + ΔV p/(p + p_half) for p ≥ 0 (the wall stiffens);  V dp/dt = n (P (q − g p) − p_abs dV/dt), P = p_ref T/T0
In a thin slot n is 1 for slow changes and γ for fast ones. With N the content (mL of ANR air) and τ the walls' time:
    dN/dt = q − g p,   (V + γ p_abs V') dp/dt = γ P dN/dt + (P N − p_abs V)/τ      (first law, heat flow ∝ ΔT)
so small changes see n(ω) = (1 + jωγτ)/(1 + jωτ). τ follows from the gap between the walls, of which the exact slot is
    1/n = (1 + (γ − 1) tanh(z)/z)/γ,  z² = jω (gap/2)²/D       (Daniels 1947, form from memory)
"""
from __future__ import annotations

from typing import Annotated, NamedTuple

from plant.declare import compiled, quantity
from plant.linear import Linear, linear
from plant.numerics.vector import choose
from plant.pneumatics.air import Air, expansion

GAMMA = 1.4  # of air
DIFFUSIVITY_mm2_s = 21.2  # of heat in air at 20–25 °C and one atmosphere (from memory)
SLOT = 0.85 / (3.0 * GAMMA)  # τ D/(gap/2)²: one state's best fit to the exact slot, 1–60 Hz


class Cuff(NamedTuple):
    """Bladder around the finger."""

    volume_mL: Annotated[float, quantity("mL", 0.05, 200, "air volume at zero gauge pressure", "invented")] = 2.5
    growth_mL: Annotated[float, quantity("mL", 0, 200, "further volume at high pressure", "invented")] = 1.0
    half_growth_mmHg: Annotated[
        float, quantity("mmHg", 5, 1000, "pressure at which half of the growth is reached", "invented")
    ] = 60.0
    leak_mL_s_mmHg: Annotated[float, quantity("mL/s/mmHg", 0, 1, "leak flow per gauge pressure", "invented")] = 1e-4
    gap_mm: Annotated[
        float, quantity("mm", 0, 20, "mean gap between the bladder's walls; 0: air.polytropic_exponent at all speeds",
                        "1.2–2 mm: 2.5 mL over 12–20 cm², geometry")
    ] = 0.0


@compiled
def bladder_volume(cuff: Cuff, pressure_mmHg: float) -> float:
    """Air volume [mL] at gauge pressure [mmHg]; below zero it shrinks as fast as it grows just above."""
    return cuff.volume_mL + cuff.growth_mL * pressure_mmHg * (1.0 / (max(pressure_mmHg, 0.0) + cuff.half_growth_mmHg))


@compiled
def bladder_growth(cuff: Cuff, pressure_mmHg: float) -> float:
    """dV/dp [mL/mmHg] at gauge pressure [mmHg]."""
    by_reach = 1.0 / (max(pressure_mmHg, 0.0) + cuff.half_growth_mmHg)
    return cuff.growth_mL * cuff.half_growth_mmHg * (by_reach * by_reach)


@compiled
def exponent(cuff: Cuff, air: Air) -> float:
    """Exponent of changes too fast for the walls; of all changes where no gap is given."""
    sealed: float = choose(cuff.gap_mm > 0.0, GAMMA, air.polytropic_exponent)
    return sealed


@compiled
def wall_exchange_per_s(cuff: Cuff) -> float:
    """1/τ [1/s] of the air's temperature towards that of the walls; 0 without a gap."""
    width = max(cuff.gap_mm, 1e-3)
    exchange: float = choose(cuff.gap_mm > 0.0, DIFFUSIVITY_mm2_s * 4.0 * (1.0 / (SLOT * width * width)), 0.0)
    return exchange


@compiled
def per_air(cuff: Cuff, air: Air, pressure_mmHg: float, line_volume_mL: float) -> tuple[float, float]:
    """1/(V + n p_abs V') [1/mL] at a gauge pressure, and V [mL]; `line_volume_mL` is the line's that moves with it."""
    volume = bladder_volume(cuff, pressure_mmHg) + line_volume_mL
    absolute = pressure_mmHg + air.atmosphere_mmHg
    return 1.0 / (volume + exponent(cuff, air) * absolute * bladder_growth(cuff, pressure_mmHg)), volume


@compiled
def per_inflow(cuff: Cuff, air: Air, pressure_mmHg: float, line_volume_mL: float) -> float:
    """Rate of cuff pressure per flow into it [mmHg/mL]."""
    return exponent(cuff, air) * expansion(air) * per_air(cuff, air, pressure_mmHg, line_volume_mL)[0]


@compiled
def content_at_rest(cuff: Cuff, air: Air, pressure_mmHg: float, line_volume_mL: float) -> float:
    """Air in the cuff [mL ANR] at a gauge pressure, as warm as its walls."""
    volume = bladder_volume(cuff, pressure_mmHg) + line_volume_mL
    return (pressure_mmHg + air.atmosphere_mmHg) * volume / expansion(air)


@compiled
def content_rate(cuff: Cuff, pressure_mmHg: float, inflow_mL_s: float) -> float:
    """Rate of the cuff's content [mL/s ANR]: what comes in less the leak."""
    return inflow_mL_s - cuff.leak_mL_s_mmHg * pressure_mmHg


@compiled
def cuff_rate(
    cuff: Cuff, air: Air, pressure_mmHg: float, content_mL: float, inflow_mL_s: float, line_volume_mL: float
) -> float:
    """Rate of cuff pressure [mmHg/s]; `line_volume_mL` is air of the line that moves with the cuff."""
    share, volume = per_air(cuff, air, pressure_mmHg, line_volume_mL)
    entering = exponent(cuff, air) * expansion(air) * content_rate(cuff, pressure_mmHg, inflow_mL_s)
    colder = expansion(air) * content_mL - (pressure_mmHg + air.atmosphere_mmHg) * volume
    return (entering + wall_exchange_per_s(cuff) * colder) * share


def linear_twin(cuff: Cuff, air: Air, pressure_mmHg: float, line_volume_mL: float) -> Linear:
    """Twin from `line_flow` [mL/s ANR] to `cuff_pressure` [mmHg], at a steady pressure (net flow is zero).

    Without a gap pressure does not hear of the content: it is no state then, or a loop would have one integrator more.
    """
    share, volume = per_air(cuff, air, pressure_mmHg, line_volume_mL)
    per_flow = float(per_inflow(cuff, air, pressure_mmHg, line_volume_mL))
    exchange = float(wall_exchange_per_s(cuff)) * share
    stiffness = volume + (pressure_mmHg + air.atmosphere_mmHg) * bladder_growth(cuff, pressure_mmHg)
    leak = cuff.leak_mL_s_mmHg
    if cuff.gap_mm == 0.0:
        return linear(-leak * per_flow, per_flow, 1.0, 0.0, "line_flow", "cuff_pressure", "cuff_pressure")
    return linear(
        [[-leak * per_flow - exchange * stiffness, exchange * expansion(air)], [-leak, 0.0]],
        [[per_flow], [1.0]], [[1.0, 0.0]], [[0.0]], "line_flow", "cuff_pressure", "cuff_pressure cuff_content",
    )
