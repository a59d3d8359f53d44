"""Ways for air that the plain plant does not have: relief and dump valve, leaks, bursts, a leaking seat, a dead pump.

Chamber rates are linear in the flow that enters, so what another opening takes is subtracted from the plain plant's
rates:  dp/dt −= n p_ref (T/T0) q/(V + n p_abs dV/dp).  With every opening shut the rates keep their bits.
"""
from __future__ import annotations

from typing import Any, NamedTuple

from numba import types
from numba.extending import overload

from plant.assembly import Held, Plant, PlantState, Surroundings, held_rates, system_rates, system_vessel
from plant.declare import OPTIONS, compiled, fused
from plant.finger.segment import SegmentLine, segment_line
from plant.numerics.integrate import selected
from plant.numerics.vector import anywhere, choose
from plant.parts import line_end_volume, line_node
from plant.pneumatics.air import Air, chamber_rate, restriction_flow
from plant.pneumatics.cuff import per_inflow
from plant.pneumatics.relief import Relief, relief_flow, relief_rate
from plant.pneumatics.supply import pump_flow
from plant.pneumatics.tube import tube_volume


class Openings(NamedTuple):
    """Sonic conductances [dm³/(s·bar)] that are open during a tick; all zero and the pump alive: the plain plant."""

    node: float  # from the valve end of the line to atmosphere
    cuff: float  # from the cuff to atmosphere
    feed: float  # from the supply into the valve end of the line
    critical_ratio: float  # of all of them
    pump_dead: bool
    relief_open: bool  # the seat is off its rest


class OpenPlant(NamedTuple):
    """The plant with every way for air that there is during a tick."""

    plant: Plant
    relief: Relief
    openings: Openings
    busy: bool  # anything at all is open: else the rates are the plain plant's


class OpenPlantState(NamedTuple):
    """The plant with what moves in its relief valve."""

    plant: PlantState
    lift: float  # of the relief valve's seat, 0 … 1


def first_volume(tube: Any) -> Any:
    """Air at the valve end of a line [mL]; zero for a line without a volume of its own, whose node is the cuff."""
    if not hasattr(tube, "valve_volume_mL"):
        return 0.0
    return tube.valve_volume_mL + 0.5 * tube_volume(tube) / tube.sections


def with_node_rate(line: Any, change: Any) -> Any:
    """Rates of a line with that of its first node changed; a line without nodes is left alone."""
    if not hasattr(line, "pressures_mmHg"):
        return line
    return line._replace(pressures_mmHg=(line.pressures_mmHg[0] + change, *line.pressures_mmHg[1:]))


@overload(first_volume, jit_options=OPTIONS)
def _first_volume(tube):  # type: ignore[no-untyped-def]
    if "valve_volume_mL" in tube.fields and "sections" in tube.fields:
        return lambda tube: tube.valve_volume_mL + 0.5 * tube_volume(tube) / tube.sections
    return lambda tube: 0.0


@overload(with_node_rate, jit_options=OPTIONS)
def _with_node_rate(line, change):  # type: ignore[no-untyped-def]
    if not (isinstance(line, types.BaseNamedTuple) and "pressures_mmHg" in line.fields):
        return lambda line, change: line
    kind = line.instance_class
    if line.types[0].count == 1:
        return lambda line, change: kind((line.pressures_mmHg[0] + change,), line.flows_mL_s)
    return lambda line, change: kind(
        (line.pressures_mmHg[0] + change, *line.pressures_mmHg[1:]), line.flows_mL_s
    )


@compiled
def cuff_per_flow(plant: Plant, cuff_mmHg: float) -> float:
    """Rate of cuff pressure per flow into it [mmHg/mL]."""
    return per_inflow(plant.cuff, plant.air, cuff_mmHg, line_end_volume(plant.tube))


@compiled
def opened_rates(system: OpenPlant, state: OpenPlantState, rates: PlantState) -> PlantState:
    """The plain plant's rates with the flows of what is open taken off."""
    plant, relief, openings, now = system.plant, system.relief, system.openings, state.plant
    air = plant.air
    node = line_node(plant.tube, now.line, now.cuff_mmHg)
    feed = restriction_flow(air, openings.feed, openings.critical_ratio, now.supply_mmHg, node)
    from_node = restriction_flow(air, openings.node, openings.critical_ratio, node, 0.0) - feed
    from_cuff = restriction_flow(air, openings.cuff, openings.critical_ratio, now.cuff_mmHg, 0.0)
    relieved = relief_flow(relief, air, state.lift, choose(relief.at_cuff, now.cuff_mmHg, node))
    from_cuff = choose(relief.at_cuff, from_cuff + relieved, from_cuff)
    from_node = choose(relief.at_cuff, from_node, from_node + relieved)
    first = first_volume(plant.tube)
    change = choose(first > 0.0, -chamber_rate(air, first, 0.0, node, from_node), 0.0)
    from_cuff = choose(first > 0.0, from_cuff, from_cuff + from_node)
    lost = choose(openings.pump_dead, feed + pump_flow(plant.supply, now.supply_mmHg), feed)
    return PlantState(
        rates.supply_mmHg - chamber_rate(air, plant.supply.volume_mL, 0.0, now.supply_mmHg, lost),
        rates.valve, with_node_rate(rates.line, change),
        rates.cuff_mmHg - from_cuff * cuff_per_flow(plant, now.cuff_mmHg), rates.cuff_mL - from_cuff,
        rates.external_mmHg, rates.segment, rates.creep_area, rates.venous_volume, rates.photodiode, rates.reading_mmHg,
    )


@system_rates.of(OpenPlant)
def open_plant_rates(
    system: OpenPlant, state: OpenPlantState, around: Surroundings, held: Held
) -> OpenPlantState:
    """Rates of plant and relief valve under what is held."""
    plant, relief, now = system.plant, system.relief, state.plant
    rates = held_rates(plant, held, now, around)
    rates = selected(system.busy, rates, rates)  # what is constant becomes as many as there are lanes
    lifting = 0.0
    if anywhere(system.busy):
        sensed = choose(relief.at_cuff, now.cuff_mmHg, line_node(plant.tube, now.line, now.cuff_mmHg))
        lifting = choose(system.busy, relief_rate(relief, system.openings.relief_open, state.lift, sensed), 0.0)
        rates = selected(system.busy, opened_rates(system, state, rates), rates)
    return OpenPlantState(rates, lifting)


@system_vessel.of(OpenPlant)
def vessel_of_open_plant(system: OpenPlant, tone: float) -> SegmentLine:
    """That of the plant in it."""
    return segment_line(system.plant.segment, system.plant.artery, tone)


@fused
def is_busy(openings: Openings, lift: float) -> bool:
    """Whether anything is open that the plain plant does not have."""
    wide = openings.node + openings.cuff + openings.feed
    return (wide > 0.0) | (lift > 0.0) | openings.relief_open | openings.pump_dead


@fused
def opened(plant: Plant, relief: Relief, openings: Openings, lift: float) -> OpenPlant:
    """The plant with what is open during a tick that begins with the relief valve at a lift."""
    return OpenPlant(plant, relief, openings, is_busy(openings, lift))


def least_steps(
    plant: Plant, conductance: float, period_s: float, reach: float = 2.0, at_cuff: bool = False
) -> int:
    """Runge–Kutta steps a tick that a conductance [dm³/(s·bar)] on the line's first node, or on the cuff, asks for.

    The flow is steepest next to ambient pressure, in the laminar piece of the restriction.
    """
    import math

    air: Air = plant.air
    slope = float(restriction_flow(air, conductance, 0.3, 0.5, 0.0)) / 0.5
    volume = (0.0 if at_cuff else float(first_volume(plant.tube))) or plant.cuff.volume_mL
    return max(1, math.ceil(float(chamber_rate(air, volume, 0.0, 0.0, slope)) * period_s / reach))
