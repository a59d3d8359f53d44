"""Pressure-type valve: a current-to-pressure stage, a second-order servo whose outlet follows its command.

    dp/dt = r,   dr/dt = 2ζω (limit(ω/(2ζ) (u·p_range − p), ±s) − r),   flow = limit((p − p_node)/R, ±q_max)
"""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

from plant.declare import quantity
from plant.errors import InputError
from plant.linear import Linear, linear
from plant.parts import (
    ValveNature,
    ValveRest,
    valve_at_rest,
    valve_flows,
    valve_nature,
    valve_play,
    valve_rates,
    valve_slowed,
    valve_twin,
)
from plant.pneumatics.air import Air
from plant.pneumatics.servo import follow_with_play, servo_rates
from plant.pneumatics.supply import Supply, supply_equilibrium


class PressureValve(NamedTuple):
    """A current-to-pressure stage; the command is a fraction of its range, 0 … 1."""

    natural_frequency_Hz: Annotated[
        float, quantity("Hz", 5, 1000, "undamped natural frequency of the stage", "invented")
    ] = 100.0
    damping_ratio: Annotated[float, quantity("1", 0.2, 3, "damping ratio of the stage", "common practice")] = 0.8
    range_mmHg: Annotated[float, quantity("mmHg", 50, 1000, "outlet pressure at full command", "invented")] = 300.0
    slew_mmHg_s: Annotated[float, quantity("mmHg/s", 100, 1e7, "fastest change of the stage", "invented")] = 20000.0
    hysteresis: Annotated[float, quantity("1", 0, 0.3, "width of play in the command", "invented")] = 0.0
    outlet_resistance_mmHg_s_mL: Annotated[
        float, quantity("mmHg·s/mL", 0.01, 1000, "pressure drop per flow at the outlet", "invented")
    ] = 1.0
    flow_limit_mL_s: Annotated[float, quantity("mL/s", 0.1, 10000, "largest flow either way, ANR", "invented")] = 150.0


class StageState(NamedTuple):
    """Stage pressure (mmHg) and its rate (mmHg/s)."""

    pressure_mmHg: float
    rate_mmHg_s: float


@valve_rates.of(PressureValve)
def pressure_valve_rates(valve: PressureValve, state: StageState, command: float) -> StageState:
    """Rates of stage pressure [mmHg/s] and of its rate [mmHg/s²] under a command in 0 … 1."""
    goal = command * valve.range_mmHg
    speed, change = servo_rates(
        valve.natural_frequency_Hz, valve.damping_ratio, valve.slew_mmHg_s, goal, state.pressure_mmHg, state.rate_mmHg_s
    )
    return StageState(speed, change)


@valve_flows.of(PressureValve)
def pressure_valve_flows(
    valve: PressureValve, air: Air, state: StageState, node_mmHg: float, supply_mmHg: float
) -> tuple[float, float]:
    """Flows [mL/s ANR] out of the supply (never negative) and into the line, at gauge pressures [mmHg]."""
    source = min(state.pressure_mmHg, supply_mmHg)
    flow = (source - node_mmHg) * (1.0 / valve.outlet_resistance_mmHg_s_mL)
    limited = min(max(flow, -valve.flow_limit_mL_s), valve.flow_limit_mL_s)
    return max(limited, 0.0), limited


@valve_play.of(PressureValve)
def pressure_valve_play(valve: PressureValve, previous: float, command: float) -> float:
    """Command after play of the given width."""
    return follow_with_play(valve.hysteresis, previous, command)


@valve_nature.register
def pressure_valve_nature(valve: PressureValve) -> ValveNature:
    """A stage at ambient pressure; one behaviour either way."""
    return ValveNature(StageState(0.0, 0.0), ("fill",), 0.0, "valve.range_mmHg", "pressure-type valve",
                       valve.range_mmHg, valve.slew_mmHg_s)


@valve_slowed.register
def pressure_valve_slowed(valve: PressureValve, share: float) -> PressureValve:
    """The stage's natural frequency falls."""
    return valve._replace(natural_frequency_Hz=valve.natural_frequency_Hz * share)


@valve_at_rest.register
def pressure_valve_at_rest(
    valve: PressureValve, air: Air, supply: Supply, outflow_mL_s: float, node_mmHg: float
) -> ValveRest:
    """Stage pressure that feeds the leak through the outlet resistance."""
    reservoir = supply_equilibrium(supply, outflow_mL_s)
    stage = node_mmHg + outflow_mL_s * valve.outlet_resistance_mmHg_s_mL
    command = stage / valve.range_mmHg
    if command > 1.0 or stage >= reservoir:
        raise InputError(
            f"valve.range_mmHg = {valve.range_mmHg:.6g} and a reservoir at {reservoir:.4g} mmHg cannot hold "
            f"{stage:.4g} mmHg at the valve; raise the lower of the two"
        )
    return ValveRest(StageState(stage, 0.0), command, reservoir, True)


@valve_twin.register
def pressure_valve_twin(
    valve: PressureValve, air: Air, side: str, node_mmHg: float, supply_mmHg: float, command: float
) -> Linear:
    """The same twin on every side and at every operating point."""
    return linear_twin(valve)


def linear_twin(valve: PressureValve) -> Linear:
    """Twin: (`command`, `node_pressure`, `supply_pressure`) to (`valve_flow`, `supply_outflow`), at no net flow.

    The supply outflow is one-sided (air is vented, not returned); the twin leaves it at zero.
    """
    omega, zeta = 2.0 * math.pi * valve.natural_frequency_Hz, valve.damping_ratio
    conductance = 1.0 / valve.outlet_resistance_mmHg_s_mL
    return linear(
        [[0.0, 1.0], [-omega * omega, -2.0 * zeta * omega]],
        [[0.0, 0.0, 0.0], [omega * omega * valve.range_mmHg, 0.0, 0.0]],
        [[conductance, 0.0], [0.0, 0.0]],
        [[0.0, -conductance, 0.0], [0.0, 0.0, 0.0]],
        "command node_pressure supply_pressure", "valve_flow supply_outflow", "stage_pressure stage_rate",
    )
