"""Actuator stage of the firmware: what turns the controller's demand into a valve command.

`Direct` passes the demand on. `FlowInverse` undoes the flow valve: it asks for the opening that gives the demanded net
flow at the measured pressure, on whichever side it lies, and jumps the dead band. With q = demand · q_full + bleed:
    command = +(d + q/g_fill(p))  for q ≥ 0,    −(d + |q|/g_vent(p))  for q < 0
g is the ISO 6358 flow per opening that the firmware believes in; its parameters are beliefs and may be wrong.
"""
from __future__ import annotations

import math
from typing import Annotated, Any, NamedTuple

from plant.declare import compiled, inlined, quantity, verb
from plant.pneumatics.air import Air, flow_per_conductance, restricting, restriction_slopes

valve_command = verb("valve_command")  # (stage, demand, reading_mmHg) -> valve command
achieved_demand = verb("achieved_demand")  # (stage, command, reading_mmHg) -> demand that this command meets


def _at_reading(stage: Any, reading_mmHg: Any) -> Any:
    """What a stage without beliefs needs to know of a measured pressure: the pressure."""
    return reading_mmHg


def _command_of(stage: Any, demand: Any, at: Any) -> Any:
    """The command of a stage without beliefs."""
    return valve_command(stage, demand, at)


def _demand_of(stage: Any, command: Any, at: Any) -> Any:
    """The demand that a command of a stage without beliefs meets."""
    return achieved_demand(stage, command, at)


# the same in two steps, for a tick that asks several times at one pressure; a stage need not register them
stage_at = verb("stage_at", otherwise=_at_reading)  # (stage, reading_mmHg) -> what it believes there
command_at = verb("command_at", otherwise=_command_of)  # (stage, demand, beliefs) -> valve command
demand_at = verb("demand_at", otherwise=_demand_of)  # (stage, command, beliefs) -> demand that this command meets

NOMINAL = Air()


class Direct(NamedTuple):
    """The demand is the command."""

    gain: Annotated[float, quantity("1", 0.01, 100, "command per demand", "none needed")] = 1.0


class FlowInverse(NamedTuple):
    """Linearising inverse of a flow valve, with the firmware's beliefs about valve and supply."""

    full_flow_mL_s: Annotated[
        float, quantity("mL/s", 0.1, 10000, "net flow at a demand of 1, ANR", "invented")
    ] = 20.0
    supply_mmHg: Annotated[float, quantity("mmHg", 50, 3000, "believed supply pressure", "nominal")] = 600.0
    conductance: Annotated[float, quantity("dm³/(s·bar)", 1e-4, 10, "believed full conductance", "nominal")] = 0.06
    critical_ratio: Annotated[float, quantity("1", 0.05, 0.6, "believed critical ratio", "nominal")] = 0.3
    dead_band: Annotated[float, quantity("1", 0, 0.5, "believed dead band", "nominal")] = 0.02
    bleed_conductance: Annotated[float, quantity("dm³/(s·bar)", 0, 1, "believed quiescent bleed", "nominal")] = 0.0
    atmosphere_mmHg: Annotated[float, quantity("mmHg", 400, 850, "believed ambient pressure", "nominal")] = 760.0


@valve_command.of(Direct)
def direct_command(stage: Direct, demand: float, reading_mmHg: float) -> float:
    """The demand, scaled."""
    return stage.gain * demand


@achieved_demand.of(Direct)
def direct_achieved(stage: Direct, command: float, reading_mmHg: float) -> float:
    """The command, scaled back."""
    return command / stage.gain


@compiled
def believed_air(atmosphere_mmHg: float) -> Air:
    """Air as the firmware takes it: ambient pressure from its settings, all else nominal."""
    return Air(atmosphere_mmHg, NOMINAL.temperature_K, NOMINAL.polytropic_exponent, NOMINAL.laminar_ratio)


@inlined
def believed_pressure(stage: FlowInverse, reading_mmHg: float) -> float:
    """Measured pressure [mmHg] as the inverse uses it: within limits that keep both its gains away from zero."""
    return min(max(reading_mmHg, 1.0), 0.98 * stage.supply_mmHg)


class Flows(NamedTuple):
    """What a flow inverse believes at a measured pressure [mL/s ANR]."""

    fill: float  # per opening when filling
    vent: float  # per opening when venting
    bleed: float


@stage_at.of(FlowInverse)
def believed_flows(stage: FlowInverse, reading_mmHg: float) -> Flows:
    """Flow per opening when filling and when venting, and the bleed [mL/s ANR], at a measured pressure [mmHg].

    The believed pressure lies between atmosphere and supply, so that no flow is reversed.
    """
    air = believed_air(stage.atmosphere_mmHg)
    pressure = believed_pressure(stage, reading_mmHg)
    by = restricting(air, stage.critical_ratio)
    scale = stage.conductance / (1.0 - stage.dead_band)
    inwards = flow_per_conductance(air, by, stage.supply_mmHg, pressure)
    outwards = flow_per_conductance(air, by, pressure, 0.0)
    return Flows(scale * inwards, scale * outwards, stage.bleed_conductance * outwards)


@command_at.of(FlowInverse)
def command_by_flows(stage: FlowInverse, demand: float, flows: Flows) -> float:
    """Spool command that gives the demanded net flow, by what is believed at the measured pressure."""
    flow = demand * stage.full_flow_mL_s + flows.bleed
    opening = max(flow, 0.0) / flows.fill + min(flow, 0.0) / flows.vent
    return opening + math.copysign(stage.dead_band, flow)


@demand_at.of(FlowInverse)
def demand_by_flows(stage: FlowInverse, command: float, flows: Flows) -> float:
    """Demand that a spool command meets, by the same beliefs."""
    flow = max(command - stage.dead_band, 0.0) * flows.fill - max(-command - stage.dead_band, 0.0) * flows.vent
    return (flow - flows.bleed) / stage.full_flow_mL_s


@valve_command.of(FlowInverse)
def inverse_command(stage: FlowInverse, demand: float, reading_mmHg: float) -> float:
    """Spool command that gives the demanded net flow at the measured pressure [mmHg]."""
    return command_by_flows(stage, demand, believed_flows(stage, reading_mmHg))


@achieved_demand.of(FlowInverse)
def inverse_achieved(stage: FlowInverse, command: float, reading_mmHg: float) -> float:
    """Demand that a spool command meets at the measured pressure, by the same beliefs."""
    return demand_by_flows(stage, command, believed_flows(stage, reading_mmHg))


def stage_slopes(stage: Direct | FlowInverse, side: str, demand: float, reading_mmHg: float) -> tuple[float, float]:
    """Slopes of the command by demand [1] and by reading [1/mmHg], on one side of a flow valve, in closed form."""
    if isinstance(stage, Direct):
        return stage.gain, 0.0
    air = believed_air(stage.atmosphere_mmHg)
    scale = stage.conductance / (1.0 - stage.dead_band)
    b = stage.critical_ratio
    pressure = believed_pressure(stage, reading_mmHg)
    bleed, bleed_slope, _ = restriction_slopes(air, stage.bleed_conductance, b, pressure, 0.0)
    flow = demand * stage.full_flow_mL_s + bleed
    if side == "fill":
        gain, _, gain_slope = restriction_slopes(air, scale, b, stage.supply_mmHg, pressure)
        flow = max(flow, 0.0)
    else:
        gain, gain_slope, _ = restriction_slopes(air, scale, b, pressure, 0.0)
        flow = min(flow, 0.0)
    by_reading = (bleed_slope - flow * gain_slope / gain) / gain if pressure == reading_mmHg else 0.0
    return stage.full_flow_mL_s / gain, by_reading
