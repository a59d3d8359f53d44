"""Dump valve: normally open, held closed by power. Whatever takes its power away lets the air out.

First-order opening towards 1 (spring) or 0 (coil), stepped exactly from tick to tick:
    o' = target + (o − target) e^{−T/τ}
"""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

from plant.declare import compiled, quantity, switch
from plant.numerics.vector import choose, opposite


class DumpValve(NamedTuple):
    """A normally-open vent to atmosphere at the valve end of the line, or on the cuff."""

    enabled: Annotated[bool, switch("fitted and free to open", "scenario")] = True
    at_cuff: Annotated[bool, switch("on the cuff, not at the valve end of the line", "invented")] = False
    conductance: Annotated[
        float, quantity("dm³/(s·bar)", 1e-4, 10, "sonic conductance fully open", "invented")
    ] = 0.3
    critical_ratio: Annotated[
        float, quantity("1", 0.05, 0.6, "critical pressure ratio b", "0.2–0.5 for valves, from memory")
    ] = 0.3
    opening_s: Annotated[float, quantity("s", 1e-4, 10, "time constant of its opening by spring", "invented")] = 0.004
    hold_power: Annotated[
        float, quantity("1", 0, 1, "share of nominal power below which the coil lets go", "invented")
    ] = 0.6


@compiled
def dump_holds(dump: DumpValve, power: float, released: bool) -> bool:
    """Whether the coil keeps the valve shut: power enough and nobody released it. A disabled valve is stuck shut."""
    holds: bool = opposite(dump.enabled) | ((power >= dump.hold_power) & opposite(released))
    return holds


@compiled
def dump_step(dump: DumpValve, opening: float, held: bool, period_s: float) -> float:
    """Opening (0 … 1) after a tick [s]."""
    target = choose(held, 0.0, 1.0)
    after = target + (opening - target) * math.exp(-period_s / dump.opening_s)
    return choose(after < 1e-6, 0.0, after)  # type: ignore[no-any-return]
