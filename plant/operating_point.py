"""Operating point of the plant in the clamp, its coupled linear twin there, and the substeps that its speed needs."""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from plant.assembly import Course, Plant, PlantState, Surroundings, Switchover, initial_state, plant_tick
from plant.electronics import transducer
from plant.errors import InputError
from plant.finger import artery, light, segment, tissue, vein
from plant.linear import Linear, join
from plant.parts import line_end_volume, valve_at_rest, valve_nature, valve_twin
from plant.pneumatics import cuff, supply, tube
from plant.pneumatics.air import Air, expansion
from plant.pneumatics.flow_valve import Side
from plant.pneumatics.tube import LineState, NoLineState, NoTube, Tube

SIDES: tuple[Side, Side] = ("fill", "vent")
MOST_TRIED = 500  # steps a tick: beyond, the poles alone have asked for more than corners need


class OperatingPoint(NamedTuple):
    """A steady clamp: everything at rest at one arterial pressure."""

    around: Surroundings
    state: PlantState
    command: float  # valve command that holds it
    area: float  # arterial area, fraction of maximal area
    light: float  # photodiode level, fraction of full scale: the set point
    light_slope: float  # light per mmHg of cuff pressure, wall at rest for all but its immediate share [1/mmHg]
    smooth: bool  # whether the valve's gain is the same just above and just below this point


def clamp_point(
    plant: Plant, arterial_mmHg: float, tone: float = 0.0, offset_mmHg: float = 0.0, ambient: float | None = None
) -> OperatingPoint:
    """The steady clamp at a constant arterial pressure [mmHg].

    The transmural pressure is that of peak compliance plus `offset_mmHg` (0: the unloaded volume, half the maximal
    area). Raises InputError when the supply cannot hold the cuff pressure that this takes.
    """
    steady_light = plant.light.ambient if ambient is None else ambient
    transmural = artery.unloaded_pressure(plant.artery, tone) + offset_mmHg
    external = arterial_mmHg - transmural
    pressure = external / plant.tissue.transmission
    if pressure <= 0.0:
        raise InputError(f"no clamp at {arterial_mmHg:.6g} mmHg arterial: cuff pressure would be {pressure:.4g} mmHg")
    leak = plant.cuff.leak_mL_s_mmHg * pressure
    node = pressure
    if not isinstance(plant.tube, NoTube):
        node = _towards_valve(plant.tube, plant.air, pressure, leak, 1.0)
    rest = valve_at_rest(plant.valve, plant.air, plant.supply, leak, node)
    area = artery.static_area(plant.artery, transmural, tone)
    veins = vein.vein_target(plant.vein, external)
    lit = light.light_intensity(plant.light, area, veins, steady_light)
    slope = artery.static_compliance(plant.artery, transmural, tone) * artery.fast_share(plant.artery, tone)
    per_area = float(light.light_per_area(plant.light, area, veins))
    sensed = node if plant.transducer.at_valve_end else pressure
    state = PlantState(
        rest.reservoir_mmHg, rest.state, _resting_line(plant, node, pressure, leak), pressure,
        float(cuff.content_at_rest(plant.cuff, plant.air, pressure, line_end_volume(plant.tube))), external,
        segment.segment_at_rest(transmural), area, veins,
        lit, plant.transducer.gain * sensed + plant.transducer.offset_mmHg,
    )
    return OperatingPoint(
        Surroundings(arterial_mmHg, tone, steady_light), state, rest.command, area, lit,
        slope * per_area * plant.tissue.transmission, rest.smooth,
    )


def _resting_line(plant: Plant, node_mmHg: float, cuff_mmHg: float, flow_mL_s: float) -> LineState | NoLineState:
    if isinstance(plant.tube, NoTube):
        return NoLineState(0.0)
    n = plant.tube.sections
    inner = tuple(_towards_valve(plant.tube, plant.air, cuff_mmHg, flow_mL_s, 1.0 - i / n) for i in range(1, n))
    return LineState((float(node_mmHg), *inner), (float(flow_mL_s),) * n)


def _towards_valve(line: Tube, air: Air, cuff_mmHg: float, flow_mL_s: float, share: float) -> float:
    # a section's drop is R q p_ref T/(T0 p_mean), so the square of absolute pressure is straight along a line
    absolute = cuff_mmHg + air.atmosphere_mmHg
    drop = share * 2.0 * tube.tube_resistance(line) * expansion(air) * flow_mL_s
    return math.sqrt(absolute * absolute + drop) - air.atmosphere_mmHg


def part_twins(plant: Plant, point: OperatingPoint, side: Side) -> dict[str, Linear]:
    """The linear twin of each part at an operating point; `side` says which side of a flow valve is described."""
    state = point.state
    node = state.line.pressures_mmHg[0] if isinstance(state.line, LineState) else state.cuff_mmHg
    line_flow = state.line.flows_mL_s[-1] if isinstance(state.line, LineState) else 0.0
    transmural = point.around.arterial_mmHg - state.external_mmHg
    return {
        "valve": valve_twin(plant.valve, plant.air, side, node, state.supply_mmHg, point.command),
        "supply": supply.linear_twin(plant.supply, plant.air, state.supply_mmHg),
        "tube": tube.linear_twin(plant.tube, plant.air, state.cuff_mmHg, line_flow),
        "cuff": cuff.linear_twin(plant.cuff, plant.air, state.cuff_mmHg, line_end_volume(plant.tube)),
        "tissue": tissue.linear_twin(plant.tissue),
        "segment": segment.linear_twin(plant.segment, plant.artery, transmural, point.around.tone),
        "wall": artery.linear_twin(plant.artery, transmural, point.around.tone),
        "vein": vein.linear_twin(plant.vein, state.external_mmHg),
        "photodiode": light.linear_twin(plant.light, point.area, state.venous_volume),
        "transducer": transducer.linear_twin(plant.transducer),
    }


OUTPUTS = ("light", "reading", "cuff_pressure", "external_pressure", "area", "node_pressure")


def plant_twin(plant: Plant, point: OperatingPoint, side: Side = "fill") -> Linear:
    """Coupled twin from (`command`, `arterial_pressure`) to light [full scale], pressures [mmHg] and area [1]."""
    return join(list(part_twins(plant, point, side).values()), ("command", "arterial_pressure"), OUTPUTS)


def fastest_pole(plant: Plant, point: OperatingPoint, side: Side) -> float:
    """Size |λ| of the fastest pole of the plant's twin at a point [rad/s]."""
    return float(np.max(np.abs(np.linalg.eigvals(plant_twin(plant, point, side).a))))


def wide_open(point: OperatingPoint, side: Side) -> OperatingPoint:
    """The point with its valve fully open to one side."""
    return point._replace(command=1.0 if side == "fill" else -1.0)


def substeps_needed(
    plant: Plant, points: list[OperatingPoint], period_s: float, reach: float = 0.8, allowed_mmHg: float = 0.004
) -> int:
    """Runge–Kutta steps a tick that follow the plant closely, never fewer than 4: found from its poles, then tried.

    |λ|·step stays below `reach` for a mode that dies away and below half of it for one that rings: a ringing line
    carries the error of each jump of the valve along until it has rung out (fourth-order Runge–Kutta is stable to about
    2.8; the rest is for accuracy). The valve is also taken fully open, at these points and with an empty cuff: that is
    where a small volume on a wide opening is fastest. The corners of dead bands and limits show in no pole: steps are
    added until twice as many move no cuff pressure by more than `allowed_mmHg` when the valve is slammed open and shut.
    """
    most = 0.0
    for point in points:
        for side in SIDES:
            wide = wide_open(point, side)
            empty = _emptied(wide)
            for case in (point, wide, empty):
                poles = np.linalg.eigvals(plant_twin(plant, case, side).a)
                size = np.abs(poles)
                ringing = np.abs(poles.imag) / np.maximum(size, 1e-30)
                most = max(most, float(np.max(size / (1.0 - 0.5 * ringing))))
    steps = max(4, math.ceil(most * period_s / reach))
    for point in points:
        tries = 0
        while tries < 4 and steps < MOST_TRIED and not _full_step_error(plant, point, period_s, steps) < allowed_mmHg:
            steps, tries = math.ceil(1.5 * steps), tries + 1
    return steps


def _full_step_error(plant: Plant, point: OperatingPoint, period_s: float, steps: int) -> float:
    """Largest change [mmHg] of cuff pressure at any tick of a slam from twice the steps; NaN or ∞ where it blows up."""
    once, twice = _full_step(plant, point, period_s, steps), _full_step(plant, point, period_s, 2 * steps)
    return max(abs(a - b) for a, b in zip(once, twice, strict=False))  # one may reach its goal a tick before


def _full_step(plant: Plant, point: OperatingPoint, period_s: float, steps: int) -> list[float]:
    """Cuff pressure [mmHg] at each tick: wide open from empty to the point's pressure, to rest, shut, and back to rest.

    The command changes at an odd share of the tick, as dead time makes it do.
    """
    around, state, found = point.around, initial_state(plant, point.around), []
    low = valve_nature(plant.valve).lowest_command
    before = 0.0
    for command, ticks in ((1.0, 30), (point.command, 8), (low, 8), (point.command, 4)):
        for _ in range(ticks):
            state = plant_tick(plant, state, Course(around, around), Switchover(before, command, 0.3), steps, period_s)
            found.append(float(state.cuff_mmHg))
            before = command
            if command == 1.0 and not state.cuff_mmHg < point.state.cuff_mmHg:
                break
    return found


def _emptied(point: OperatingPoint) -> OperatingPoint:
    line = point.state.line
    if isinstance(line, LineState):
        line = LineState((0.0,) * len(line.pressures_mmHg), (0.0,) * len(line.flows_mL_s))
    return point._replace(state=point.state._replace(cuff_mmHg=0.0, line=line, external_mmHg=0.0))
