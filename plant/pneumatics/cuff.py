"""Cuff: an air bladder that grows with its pressure, and leaks.

V(p) = V0 + ΔV p/(p + p_half) for p ≥ 0 (a wall that stiffens);  V dp/dt = n (p_ref (q − g p) − p_abs dV/dt).
"""
from __future__ import annotations

from typing import Annotated, NamedTuple

from plant.declare import compiled, quantity
from plant.linear import Linear, linear
from plant.pneumatics.air import Air, chamber_rate


class Cuff(NamedTuple):
    """Bladder around the finger."""

    volume_mL: Annotated[float, quantity("mL", 0.05, 200, "air volume at zero gauge pressure", "invented")] = 2.5
    growth_mL: Annotated[float, quantity("mL", 0, 200, "further volume at high pressure", "invented")] = 1.0
    half_growth_mmHg: Annotated[
        float, quantity("mmHg", 5, 1000, "pressure at which half of the growth is reached", "invented")
    ] = 60.0
    leak_mL_s_mmHg: Annotated[float, quantity("mL/s/mmHg", 0, 1, "leak flow per gauge pressure", "invented")] = 1e-4


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
def cuff_rate(cuff: Cuff, air: Air, pressure_mmHg: float, inflow_mL_s: float, line_volume_mL: float) -> float:
    """Rate of cuff pressure [mmHg/s]; `line_volume_mL` is air of the line that moves with the cuff."""
    volume = bladder_volume(cuff, pressure_mmHg) + line_volume_mL
    growth = bladder_growth(cuff, pressure_mmHg)
    return chamber_rate(air, volume, growth, pressure_mmHg, inflow_mL_s - cuff.leak_mL_s_mmHg * pressure_mmHg)


def linear_twin(cuff: Cuff, air: Air, pressure_mmHg: float, line_volume_mL: float) -> Linear:
    """Twin from `line_flow` [mL/s ANR] to `cuff_pressure` [mmHg], at a steady pressure (net flow is zero)."""
    volume = bladder_volume(cuff, pressure_mmHg) + line_volume_mL
    per_flow = chamber_rate(air, volume, bladder_growth(cuff, pressure_mmHg), pressure_mmHg, 1.0)
    return linear(-cuff.leak_mL_s_mmHg * per_flow, per_flow, 1.0, 0.0, "line_flow", "cuff_pressure", "cuff_pressure")
