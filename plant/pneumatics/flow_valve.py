"""Flow-type valve: a proportional three-way spool between supply, line and atmosphere.

Spool (position x, velocity v; natural frequency ω, damping ζ, slew limit s):
    dx/dt = v,   dv/dt = 2ζω (limit(ω/(2ζ) (u − x), ±s) − v)
which is ω²(u − x) − 2ζω v while the slew limit is not met. Openings past the dead band d:
    fill = max(x − d, 0)/(1 − d),   vent = max(−x − d, 0)/(1 − d)
Both feed ISO 6358 restrictions. With no net flow the gain from x to flow differs between the sides, and is zero
inside the dead band: a twin therefore says which side it describes.
"""
from __future__ import annotations

import math
from typing import Annotated, Literal, NamedTuple

from plant.declare import quantity
from plant.errors import InputError
from plant.linear import Linear, linear
from plant.parts import (
    Openings,
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
from plant.pneumatics.air import Air, restriction_flow, restriction_slopes
from plant.pneumatics.servo import follow_with_play, servo_rates
from plant.pneumatics.supply import Supply, supply_equilibrium

Side = Literal["fill", "vent"]


class FlowValve(NamedTuple):
    """A proportional three-way valve; command and spool position are fractions of full travel, −1 … 1."""

    natural_frequency_Hz: Annotated[
        float, quantity("Hz", 5, 1000, "undamped natural frequency of the spool", "100–300 Hz, from memory")
    ] = 120.0
    damping_ratio: Annotated[float, quantity("1", 0.2, 3, "damping ratio of the spool", "common practice")] = 0.7
    slew_per_s: Annotated[float, quantity("1/s", 1, 1e6, "fastest spool travel", "invented")] = 400.0
    dead_band: Annotated[float, quantity("1", 0, 0.5, "spool overlap at each side of centre", "invented")] = 0.02
    hysteresis: Annotated[float, quantity("1", 0, 0.3, "width of play between command and spool", "invented")] = 0.0
    conductance: Annotated[
        float, quantity("dm³/(s·bar)", 1e-4, 10, "sonic conductance fully open, both ways", "invented")
    ] = 0.06
    critical_ratio: Annotated[
        float, quantity("1", 0.05, 0.6, "critical pressure ratio b", "0.2–0.5 for valves, from memory")
    ] = 0.3
    bleed_conductance: Annotated[
        float, quantity("dm³/(s·bar)", 0, 1, "fixed quiescent bleed from the line to atmosphere", "invented")
    ] = 0.0


class SpoolState(NamedTuple):
    """Spool position (fraction of travel) and velocity (1/s)."""

    position: float
    velocity: float


@valve_rates.of(FlowValve)
def flow_valve_rates(valve: FlowValve, state: SpoolState, command: float) -> SpoolState:
    """Rates of spool position [1/s] and velocity [1/s²] under a command in −1 … 1."""
    speed, change = servo_rates(
        valve.natural_frequency_Hz, valve.damping_ratio, valve.slew_per_s, command, state.position, state.velocity
    )
    return SpoolState(speed, change)


@valve_flows.of(FlowValve)
def flow_valve_flows(
    valve: FlowValve, air: Air, state: SpoolState, node_mmHg: float, supply_mmHg: float
) -> tuple[float, float]:
    """Flows [mL/s ANR] out of the supply and into the line, at gauge pressures [mmHg]."""
    scale = valve.conductance / (1.0 - valve.dead_band)
    fill = min(max(state.position - valve.dead_band, 0.0), 1.0 - valve.dead_band) * scale
    vent = min(max(-state.position - valve.dead_band, 0.0), 1.0 - valve.dead_band) * scale
    filling = restriction_flow(air, fill, valve.critical_ratio, supply_mmHg, node_mmHg)
    venting = restriction_flow(air, vent + valve.bleed_conductance, valve.critical_ratio, node_mmHg, 0.0)
    return filling, filling - venting


@valve_play.of(FlowValve)
def flow_valve_play(valve: FlowValve, previous: float, command: float) -> float:
    """Command after mechanical play of the given width (exact: the command is constant between ticks)."""
    return follow_with_play(valve.hysteresis, previous, command)


def side_gain(valve: FlowValve, air: Air, side: Side, node_mmHg: float, supply_mmHg: float) -> float:
    """Slope of flow into the line [mL/s] by spool position on one side of the dead band (always positive)."""
    scale = valve.conductance / (1.0 - valve.dead_band)
    if side == "fill":
        return restriction_flow(air, scale, valve.critical_ratio, supply_mmHg, node_mmHg)
    return restriction_flow(air, scale, valve.critical_ratio, node_mmHg, 0.0)


def resting_position(valve: FlowValve, air: Air, outflow_mL_s: float, node_mmHg: float, supply_mmHg: float) -> float:
    """Spool position at which the valve passes a steady net outflow [mL/s ANR] of the line beyond it.

    Inside the dead band every position serves when nothing flows; its filling edge is returned then.
    """
    bleed = restriction_flow(air, valve.bleed_conductance, valve.critical_ratio, node_mmHg, 0.0)
    needed = outflow_mL_s + bleed
    side: Side = "fill" if needed >= 0.0 else "vent"
    gain = side_gain(valve, air, side, node_mmHg, supply_mmHg)
    return math.copysign(valve.dead_band + abs(needed) / max(gain, 1e-30), needed)


@valve_nature.register
def flow_valve_nature(valve: FlowValve) -> ValveNature:
    """A spool in its centre; filling and venting differ."""
    openings = Openings(valve.conductance, valve.critical_ratio, valve.dead_band, valve.bleed_conductance)
    return ValveNature(SpoolState(0.0, 0.0), ("fill", "vent"), -1.0, "valve.conductance", openings=openings)


@valve_slowed.register
def flow_valve_slowed(valve: FlowValve, share: float) -> FlowValve:
    """The spool's natural frequency falls."""
    return valve._replace(natural_frequency_Hz=valve.natural_frequency_Hz * share)


@valve_at_rest.register
def flow_valve_at_rest(valve: FlowValve, air: Air, supply: Supply, outflow_mL_s: float, node_mmHg: float) -> ValveRest:
    """Spool just open enough for leak and bleed; smooth when that is off the edge of the dead band."""
    bleed = restriction_flow(air, valve.bleed_conductance, valve.critical_ratio, node_mmHg, 0.0)
    reservoir = supply_equilibrium(supply, outflow_mL_s + bleed)
    position = resting_position(valve, air, outflow_mL_s, node_mmHg, reservoir)
    if reservoir > node_mmHg and position > 1.0:
        raise InputError(
            f"valve.conductance = {valve.conductance:.6g} is too small to feed {outflow_mL_s + bleed:.4g} mL/s of leak "
            f"and bleed at {node_mmHg:.4g} mmHg; raise it"
        )
    if reservoir <= node_mmHg:
        raise InputError(
            f"supply.pressure_mmHg: the reservoir settles at {reservoir:.4g} mmHg, too low to hold {node_mmHg:.4g} "
            "mmHg in the cuff; raise supply.pressure_mmHg or lower valve.bleed_conductance"
        )
    return ValveRest(SpoolState(position, 0.0), position, reservoir, abs(position) - valve.dead_band > 1e-6)


@valve_twin.register
def linear_twin(
    valve: FlowValve, air: Air, side: Side, node_mmHg: float, supply_mmHg: float, position: float
) -> Linear:
    """Twin of one side: (`command`, `node_pressure`, `supply_pressure`) to (`valve_flow`, `supply_outflow`).

    `position` [−1…1] gives the opening for the pressure slopes; on the other side of the dead band it counts as
    closed. The gain by position is the one of `side`, whichever side the spool rests on.
    """
    omega, zeta = 2.0 * math.pi * valve.natural_frequency_Hz, valve.damping_ratio
    scale = valve.conductance / (1.0 - valve.dead_band)
    fill = max(position - valve.dead_band, 0.0) * scale if side == "fill" else 0.0
    vent = max(-position - valve.dead_band, 0.0) * scale if side == "vent" else 0.0
    _, fill_by_supply, fill_by_node = restriction_slopes(air, fill, valve.critical_ratio, supply_mmHg, node_mmHg)
    _, vent_by_node, _ = restriction_slopes(
        air, vent + valve.bleed_conductance, valve.critical_ratio, node_mmHg, 0.0
    )
    gain = side_gain(valve, air, side, node_mmHg, supply_mmHg)
    return linear(
        [[0.0, 1.0], [-omega * omega, -2.0 * zeta * omega]],
        [[0.0, 0.0, 0.0], [omega * omega, 0.0, 0.0]],
        [[gain, 0.0], [gain if side == "fill" else 0.0, 0.0]],
        [[0.0, fill_by_node - vent_by_node, fill_by_supply], [0.0, fill_by_node, fill_by_supply]],
        "command node_pressure supply_pressure", "valve_flow supply_outflow", "spool_position spool_velocity",
    )
