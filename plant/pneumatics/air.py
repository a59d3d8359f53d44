"""The air that all pneumatic parts share, and flow through a restriction.

ISO 6358 sonic conductance C and critical pressure ratio b:
    q = C p1 √(T0/T1)                            choked,    p2/p1 ≤ b
    q = C p1 √(T0/T1) √(1 − ((p2/p1 − b)/(1 − b))²)   subsonic,  p2/p1 > b
with flow q as volume per time at the ANR reference atmosphere (100 kPa, 293.15 K), and a linear (laminar) piece
next to p2 = p1 so that the slope stays finite. Pressures inside are absolute.
"""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

from plant.declare import compiled, quantity
from plant.units import REFERENCE_TEMPERATURE_K, REFERENCE_PRESSURE_mmHg

ML_PER_S_PER_MMHG = 1000.0 / REFERENCE_PRESSURE_mmHg  # 1 dm³/(s·bar) = 1000 mL/s per 100 kPa


class Air(NamedTuple):
    """Ambient air and its state of change in lines and chambers."""

    atmosphere_mmHg: Annotated[float, quantity("mmHg", 400, 850, "ambient pressure", "standard atmosphere")] = 760.0
    temperature_K: Annotated[float, quantity("K", 250, 330, "air temperature", "ANR reference, ISO 8778")] = 293.15
    polytropic_exponent: Annotated[
        float, quantity("1", 1.0, 1.4, "1 isothermal … 1.4 adiabatic", "between the two, from memory: Richer 2000")
    ] = 1.2
    laminar_ratio: Annotated[
        float, quantity("1", 0.9, 0.9999, "pressure ratio above which flow is linear", "0.995–0.999, common practice")
    ] = 0.995


@compiled
def laminar_slope(air: Air, critical_ratio: float) -> float:
    """Slope of the linear piece by the share of pressure that is lost, flow as a fraction of choked flow."""
    edge = (max(air.laminar_ratio, critical_ratio) - critical_ratio) / (1.0 - critical_ratio)
    return math.sqrt(1.0 - edge * edge) / (1.0 - air.laminar_ratio)


class Restricting(NamedTuple):
    """What does not depend on pressure in the flow through any restriction of one critical ratio."""

    gap_per_lost: float  # 1/(1 − b)
    linear_slope: float  # of the linear piece, flow as a fraction of choked flow
    unit_mL_s_mmHg: float  # choked flow per absolute pressure and conductance


@compiled
def restricting(air: Air, critical_ratio: float) -> Restricting:
    """The part of `restriction_flow` that stays the same from pressure to pressure."""
    unit = ML_PER_S_PER_MMHG * math.sqrt(REFERENCE_TEMPERATURE_K / air.temperature_K)
    return Restricting(1.0 / (1.0 - critical_ratio), laminar_slope(air, critical_ratio), unit)


@compiled
def flow_per_conductance(air: Air, by: Restricting, upstream_mmHg: float, downstream_mmHg: float) -> float:
    """Size of the flow through a conductance of one [mL/s ANR per dm³/(s·bar)]; gauge pressures [mmHg]."""
    lost = upstream_mmHg - downstream_mmHg
    high = max(upstream_mmHg, downstream_mmHg) + air.atmosphere_mmHg
    # p1 √(1 − w²) by its factors, p1 (1 − w) = lost/(1 − b) and p1 (1 + w): no division; p1 itself when choked
    gap = min(abs(lost) * by.gap_per_lost, high)
    subsonic = math.sqrt(gap * (high + (high - gap)))
    # the linear piece is a chord of this curve, which bends down: beyond the laminar ratio the curve is the smaller
    return by.unit_mL_s_mmHg * min(subsonic, by.linear_slope * abs(lost))


@compiled
def restriction_flow(
    air: Air, conductance: float, critical_ratio: float, upstream_mmHg: float, downstream_mmHg: float
) -> float:
    """Flow [mL/s ANR] from upstream to downstream (negative when reversed); gauge pressures [mmHg].

    conductance is sonic conductance C [dm³/(s·bar)], critical_ratio is b [1] (ISO 6358-1, from memory).
    """
    size = flow_per_conductance(air, restricting(air, critical_ratio), upstream_mmHg, downstream_mmHg)
    return math.copysign(conductance * size, upstream_mmHg - downstream_mmHg)


@compiled
def restriction_slopes(
    air: Air, conductance: float, critical_ratio: float, upstream_mmHg: float, downstream_mmHg: float
) -> tuple[float, float, float]:
    """Flow [mL/s] and its slopes by upstream and by downstream pressure [mL/s per mmHg], in closed form."""
    flow = restriction_flow(air, conductance, critical_ratio, upstream_mmHg, downstream_mmHg)
    first, second = upstream_mmHg + air.atmosphere_mmHg, downstream_mmHg + air.atmosphere_mmHg
    forward = first >= second
    high, low = max(first, second), max(min(first, second), 0.0)
    ratio = low / high
    unit = conductance * ML_PER_S_PER_MMHG * math.sqrt(REFERENCE_TEMPERATURE_K / air.temperature_K)
    if ratio <= critical_ratio:
        by_high, by_low = unit, 0.0
    elif ratio >= air.laminar_ratio:
        by_high = unit * laminar_slope(air, critical_ratio)
        by_low = -by_high
    else:
        within = (ratio - critical_ratio) / (1.0 - critical_ratio)
        root = math.sqrt(1.0 - within * within)
        by_low = -unit * within / (root * (1.0 - critical_ratio))
        by_high = unit * root - by_low * ratio
    if forward:
        return flow, by_high, by_low
    return flow, -by_low, -by_high


@compiled
def expansion(air: Air) -> float:
    """Pressure times volume of one mL of ANR air at the air's own temperature [mmHg]: p_ref T/T0 (ideal gas)."""
    return REFERENCE_PRESSURE_mmHg * (air.temperature_K / REFERENCE_TEMPERATURE_K)


@compiled
def chamber_rate(air: Air, volume_mL: float, growth_mL_mmHg: float, pressure_mmHg: float, inflow_mL_s: float) -> float:
    """Rate of gauge pressure [mmHg/s] in a chamber whose volume grows with its pressure.

    V dp/dt = n (p_ref (T/T0) q − p dV/dt), polytropic with exponent n (Richer & Hurmuzlu 2000, form from memory).
    The flow q is counted in air at T0, so a litre of it takes more room when the chamber is warmer.
    """
    exponent = air.polytropic_exponent
    absolute = pressure_mmHg + air.atmosphere_mmHg
    return exponent * expansion(air) * inflow_mL_s / (volume_mL + exponent * absolute * growth_mL_mmHg)


@compiled
def rigid_rate(air: Air, volume_mL: float, inflow_mL_s: float) -> float:
    """Rate of pressure [mmHg/s] in a chamber that keeps its volume: the same without growth, at any pressure."""
    return chamber_rate(air, volume_mL, 0.0, 0.0, 1.0) * inflow_mL_s
