"""Mechanical relief valve: a spring-loaded seat that opens by pressure alone, without power or firmware.

The seat lifts once pressure passes the cracking pressure and closes below the reseating pressure (hysteresis):
    target = clip((p − p_reseat)/(p_full − p_reseat), 0, 1) while open, else 0;     dl/dt = (target − l)/τ
The lift l scales the sonic conductance of an ISO 6358 restriction to atmosphere. Common practice.
"""
from __future__ import annotations

from typing import Annotated, NamedTuple

from plant.declare import compiled, inlined, quantity, switch
from plant.numerics.vector import choose
from plant.pneumatics.air import Air, restriction_flow


class Relief(NamedTuple):
    """A relief valve on the manifold at the valve end of the line, or on the cuff."""

    enabled: Annotated[bool, switch("fitted and free to move", "scenario")] = True
    at_cuff: Annotated[bool, switch("on the cuff, not at the valve end of the line", "invented")] = False
    cracking_mmHg: Annotated[float, quantity("mmHg", 20, 3000, "pressure at which the seat lifts", "invented")] = 295.0
    reseat_mmHg: Annotated[float, quantity("mmHg", 10, 3000, "pressure below which it closes", "invented")] = 270.0
    full_mmHg: Annotated[float, quantity("mmHg", 20, 3000, "pressure at which it is fully open", "invented")] = 300.0
    conductance: Annotated[
        float, quantity("dm³/(s·bar)", 1e-4, 10, "sonic conductance fully open", "invented")
    ] = 0.12
    critical_ratio: Annotated[
        float, quantity("1", 0.05, 0.6, "critical pressure ratio b", "0.2–0.5 for valves, from memory")
    ] = 0.3
    lag_s: Annotated[float, quantity("s", 2e-4, 1, "time constant of the seat", "invented")] = 0.001


@inlined
def relief_opens(relief: Relief, opened: bool, pressure_mmHg: float) -> bool:
    """Whether the seat is off its rest: cracked above the one pressure, reseated below the other."""
    opens: bool = relief.enabled & (pressure_mmHg > choose(opened, relief.reseat_mmHg, relief.cracking_mmHg))
    return opens


@compiled
def relief_rate(relief: Relief, opened: bool, lift: float, pressure_mmHg: float) -> float:
    """Rate of the lift [1/s] at a gauge pressure [mmHg]."""
    span = max(relief.full_mmHg - relief.reseat_mmHg, 1e-6)
    target = choose(opened, min(max((pressure_mmHg - relief.reseat_mmHg) / span, 0.0), 1.0), 0.0)
    return (target - lift) / relief.lag_s  # type: ignore[no-any-return]


@compiled
def relief_flow(relief: Relief, air: Air, lift: float, pressure_mmHg: float) -> float:
    """Flow to atmosphere [mL/s ANR] at a lift (0 … 1) and gauge pressure [mmHg]."""
    opening = relief.conductance * min(max(lift, 0.0), 1.0)
    return restriction_flow(air, opening, relief.critical_ratio, pressure_mmHg, 0.0)
