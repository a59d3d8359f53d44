"""Ways for air that the plain plant does not have: relief and dump valve, leaks, bursts, a leaking seat, a dead pump.

Chamber rates are linear in the flow that enters, so what another opening takes is subtracted from the plain plant's
rates:  dp/dt −= n p_ref (T/T0) q/(V + n p_abs dV/dp).  With every opening shut the rates keep their bits.
"""
from __future__ import annotations

from typing import Any, NamedTuple

from numba import types
from numba.extending import overload

from plant.assembly import Plant, PlantState, Surroundings, between, plant_rates
from plant.declare import OPTIONS, compiled, fused
from plant.numerics.integrate import advance, settled, weigh
from plant.parts import line_end_volume, line_node
from plant.pneumatics.air import Air, chamber_rate, restriction_flow
from plant.pneumatics.cuff import bladder_growth, bladder_volume
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


class GuardedState(NamedTuple):
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
    volume = bladder_volume(plant.cuff, cuff_mmHg) + line_end_volume(plant.tube)
    return chamber_rate(plant.air, volume, bladder_growth(plant.cuff, cuff_mmHg), cuff_mmHg, 1.0)


@compiled
def opened_rates(
    plant: Plant, relief: Relief, openings: Openings, state: GuardedState, rates: PlantState
) -> PlantState:
    """The plain plant's rates with the flows of what is open taken off."""
    air, now = plant.air, state.plant
    node = line_node(plant.tube, now.line, now.cuff_mmHg)
    feed = restriction_flow(air, openings.feed, openings.critical_ratio, now.supply_mmHg, node)
    from_node = restriction_flow(air, openings.node, openings.critical_ratio, node, 0.0) - feed
    from_cuff = restriction_flow(air, openings.cuff, openings.critical_ratio, now.cuff_mmHg, 0.0)
    if relief.at_cuff:
        from_cuff += relief_flow(relief, air, state.lift, now.cuff_mmHg)
    else:
        from_node += relief_flow(relief, air, state.lift, node)
    first = first_volume(plant.tube)
    change = 0.0
    if first > 0.0:
        change = -chamber_rate(air, first, 0.0, node, from_node)
    else:
        from_cuff += from_node
    lost = feed
    if openings.pump_dead:
        lost += pump_flow(plant.supply, now.supply_mmHg)
    return PlantState(
        rates.supply_mmHg - chamber_rate(air, plant.supply.volume_mL, 0.0, now.supply_mmHg, lost),
        rates.valve, with_node_rate(rates.line, change),
        rates.cuff_mmHg - from_cuff * cuff_per_flow(plant, now.cuff_mmHg),
        rates.external_mmHg, rates.creep_area, rates.venous_volume, rates.photodiode, rates.reading_mmHg,
    )


@fused
def guarded_rates(
    plant: Plant, relief: Relief, openings: Openings, busy: bool, state: GuardedState, around: Surroundings,
    command: float,
) -> GuardedState:
    """Rates of plant and relief valve under a held command; `busy` when anything at all is open."""
    rates = plant_rates(plant, state.plant, around, command)
    lifting = 0.0
    if busy:
        now = state.plant
        felt = now.cuff_mmHg if relief.at_cuff else line_node(plant.tube, now.line, now.cuff_mmHg)
        lifting = relief_rate(relief, openings.relief_open, state.lift, felt)
        rates = opened_rates(plant, relief, openings, state, rates)
    return GuardedState(rates, lifting)


@fused
def guarded_step(
    plant: Plant, relief: Relief, openings: Openings, busy: bool, state: GuardedState, start: Surroundings,
    end: Surroundings, share: float, part: float, period_s: float, command: float,
) -> GuardedState:
    """One classical Runge–Kutta step as in `plant.assembly.runge_kutta`."""
    step = part * period_s
    middle, last = between(start, end, share + 0.5 * part), between(start, end, share + part)
    first = guarded_rates(plant, relief, openings, busy, state, between(start, end, share), command)
    second = guarded_rates(plant, relief, openings, busy, advance(state, 0.5 * step, first), middle, command)
    third = guarded_rates(plant, relief, openings, busy, advance(state, 0.5 * step, second), middle, command)
    fourth = guarded_rates(plant, relief, openings, busy, advance(state, step, third), last, command)
    after: GuardedState = advance(state, step, weigh(first, second, third, fourth))
    return after


@fused
def is_busy(openings: Openings, lift: float) -> bool:
    """Whether anything is open that the plain plant does not have."""
    wide = openings.node + openings.cuff + openings.feed
    return wide > 0.0 or lift > 0.0 or openings.relief_open or openings.pump_dead


@fused
def guarded_tick(
    plant: Plant, relief: Relief, openings: Openings, state: GuardedState, start: Surroundings, end: Surroundings,
    old_command: float, command: float, switch_share: float, substeps: float, period_s: float,
) -> GuardedState:
    """Advance plant and relief valve by one tick, cut where the command changes, as in `plant.assembly.plant_tick`."""
    busy = is_busy(openings, state.lift)
    before = max(int(substeps * switch_share + 0.999999), 1) if switch_share > 0.0 else 0
    after = max(int(substeps * (1.0 - switch_share) + 0.999999), 1) if switch_share < 1.0 else 0
    for i in range(before + after):
        if i < before:
            part, held = switch_share / before, old_command
            share = i * part
        else:
            part, held = (1.0 - switch_share) / after, command
            share = switch_share + (i - before) * part
        state = guarded_step(plant, relief, openings, busy, state, start, end, share, part, period_s, held)
    after_tick: GuardedState = settled(state)
    return after_tick


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
