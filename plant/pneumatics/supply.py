"""Finite air supply: a reservoir that a pump keeps near its set pressure.

V_s dp_s/dt = n p_ref (q_pump − q_out),   q_pump = limit(k (p_set − p_s), 0, q_max (1 − p_s/p_stall)).
"""
from __future__ import annotations

from typing import Annotated, NamedTuple

from plant.declare import compiled, quantity
from plant.linear import Linear, linear
from plant.pneumatics.air import Air, chamber_rate, rigid_rate


class Supply(NamedTuple):
    """Reservoir, pump and its pressure regulator."""

    pressure_mmHg: Annotated[float, quantity("mmHg", 100, 3000, "regulated gauge pressure", "invented")] = 600.0
    volume_mL: Annotated[float, quantity("mL", 1, 100000, "reservoir volume", "invented")] = 150.0
    pump_flow_mL_s: Annotated[float, quantity("mL/s", 0, 1000, "free flow of the pump, ANR", "invented")] = 60.0
    stall_mmHg: Annotated[float, quantity("mmHg", 100, 5000, "gauge pressure at which it stalls", "invented")] = 1200.0
    regulator_mL_s_mmHg: Annotated[
        float, quantity("mL/s/mmHg", 0, 100, "pump flow per pressure below set", "invented")
    ] = 1.0


@compiled
def pump_flow(supply: Supply, pressure_mmHg: float) -> float:
    """Flow [mL/s ANR] that the regulator has the pump give at a reservoir pressure [mmHg]."""
    available = max(supply.pump_flow_mL_s * (1.0 - pressure_mmHg * (1.0 / supply.stall_mmHg)), 0.0)
    wanted = supply.regulator_mL_s_mmHg * (supply.pressure_mmHg - pressure_mmHg)
    return min(max(wanted, 0.0), available)


@compiled
def supply_rate(supply: Supply, air: Air, pressure_mmHg: float, outflow_mL_s: float) -> float:
    """Rate of reservoir gauge pressure [mmHg/s] at the outflow [mL/s ANR] that the valve takes."""
    return rigid_rate(air, supply.volume_mL, pump_flow(supply, pressure_mmHg) - outflow_mL_s)


@compiled
def supply_equilibrium(supply: Supply, outflow_mL_s: float) -> float:
    """Reservoir pressure [mmHg] that a steady outflow [mL/s ANR] settles to (may be far below the set pressure)."""
    regulated = supply.pressure_mmHg - outflow_mL_s / max(supply.regulator_mL_s_mmHg, 1e-12)
    exhausted = supply.stall_mmHg * (1.0 - outflow_mL_s / max(supply.pump_flow_mL_s, 1e-12))
    return min(regulated, exhausted)


def linear_twin(supply: Supply, air: Air, pressure_mmHg: float) -> Linear:
    """Twin from `supply_outflow` [mL/s] to `supply_pressure` [mmHg] at a reservoir pressure."""
    available = supply.pump_flow_mL_s * (1.0 - pressure_mmHg / supply.stall_mmHg)
    wanted = supply.regulator_mL_s_mmHg * (supply.pressure_mmHg - pressure_mmHg)
    if wanted < 0.0 or available < 0.0:
        slope = 0.0
    elif wanted < available:
        slope = -supply.regulator_mL_s_mmHg
    else:
        slope = -supply.pump_flow_mL_s / supply.stall_mmHg
    per_flow = chamber_rate(air, supply.volume_mL, 0.0, pressure_mmHg, 1.0)
    return linear(slope * per_flow, -per_flow, 1.0, 0.0, "supply_outflow", "supply_pressure", "supply_pressure")
