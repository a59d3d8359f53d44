"""The whole plant: every part of finger, light path, pneumatics and transducer, coupled into one rate function.

Written once: the single-run kernel, the linear twin's test and every analysis call `plant_rates`.
"""
from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plant.declare import fused, verb
from plant.electronics.transducer import Transducer
from plant.finger.artery import Artery, law_at, present_area, relative_area, static_area, wall_rate
from plant.finger.light import Light, light_intensity, photodiode_rate
from plant.finger.segment import Segment, SegmentLine, SegmentState, segment_at_rest, segment_line, segment_rates
from plant.finger.tissue import Tissue, tissue_rate
from plant.finger.vein import Vein, vein_rate, vein_target
from plant.numerics.integrate import advance, weigh, without_denormals
from plant.numerics.vector import choose, most, rounded_down
from plant.parts import line_end_volume, valve_nature
from plant.pneumatics.air import Air
from plant.pneumatics.assembly import Pneumatics, PneumaticState, pneumatic_rates
from plant.pneumatics.cuff import Cuff, content_at_rest
from plant.pneumatics.flow_valve import FlowValve, SpoolState
from plant.pneumatics.pressure_valve import PressureValve, StageState
from plant.pneumatics.supply import Supply
from plant.pneumatics.tube import LineState, NoLineState, NoTube, Tube, initial_line


class Plant(NamedTuple):
    """Everything the firmware cannot change. Valve and tube come in variants, told apart by their class."""

    tissue: Tissue = Tissue()
    artery: Artery = Artery()
    segment: Segment = Segment()
    vein: Vein = Vein()
    light: Light = Light()
    valve: FlowValve | PressureValve = FlowValve()
    supply: Supply = Supply()
    air: Air = Air()
    tube: Tube | NoTube = Tube()
    cuff: Cuff = Cuff()
    transducer: Transducer = Transducer()


class PlantState(NamedTuple):
    """State of the whole plant between two ticks."""

    supply_mmHg: float  # reservoir gauge pressure
    valve: SpoolState | StageState
    line: LineState | NoLineState
    cuff_mmHg: float  # gauge pressure in the bladder
    cuff_mL: float  # air in it and in the line's end, at the reference atmosphere
    external_mmHg: float  # at the artery
    segment: SegmentState  # transmural pressures and axial flow of the artery under the cuff
    creep_area: float  # creeping share of arterial area, fraction of maximal area
    venous_volume: float  # fraction of the volume without cuff pressure
    photodiode: float  # filtered light, fraction of full scale
    reading_mmHg: float  # transducer output before its converter


class Surroundings(NamedTuple):
    """What acts on the plant from outside at one instant."""

    arterial_mmHg: float
    tone: float  # 0 resting, + constricted, − dilated
    ambient: float  # light, fraction of full scale


class Held(NamedTuple):
    """What does not change within a tick."""

    command: float  # of the valve
    vessel: SegmentLine  # at the tick's tone


class Inputs(NamedTuple):
    """Surroundings on the tick grid, one more than there are ticks."""

    arterial_mmHg: NDArray[np.float64]
    tone: NDArray[np.float64]
    ambient: NDArray[np.float64]

    def part(self, first: int, end: int) -> Inputs:
        """The same for ticks first … end."""
        return Inputs(self.arterial_mmHg[first : end + 1], self.tone[first : end + 1], self.ambient[first : end + 1])


@fused
def arterial_area(plant: Plant, state: PlantState, around: Surroundings) -> float:
    """Arterial area now (fraction of maximal area)."""
    law = law_at(plant.artery, around.tone)
    return present_area(law, state.creep_area, law.largest_area * relative_area(law, state.segment.middle_mmHg))


system_rates = verb("system_rates", merged=True)  # (system, state, around, held) -> rate of every state
system_vessel = verb("system_vessel", merged=True)  # (system, tone) -> the artery under the cuff at a tone


@fused
def plant_rates(plant: Plant, state: PlantState, around: Surroundings, command: float) -> PlantState:
    """Rate of every state [its unit per s] under a held valve command and the surroundings of this instant."""
    return held_rates(plant, Held(command, segment_line(plant.segment, plant.artery, around.tone)), state, around)


@fused
def held_rates(plant: Plant, held: Held, state: PlantState, around: Surroundings) -> PlantState:
    """The same, with what follows from the tone worked out already."""
    vessel = held.vessel
    air = pneumatic_rates(
        Pneumatics(plant.valve, plant.supply, plant.air, plant.tube, plant.cuff, plant.transducer),
        PneumaticState(
            state.supply_mmHg, state.valve, state.line, state.cuff_mmHg, state.cuff_mL, state.reading_mmHg
        ),
        held.command,
    )
    driving = around.arterial_mmHg - state.external_mmHg
    target = vessel.law.largest_area * relative_area(vessel.law, state.segment.middle_mmHg)
    area = present_area(vessel.law, state.creep_area, target)
    lit = light_intensity(plant.light, area, state.venous_volume, around.ambient)
    return PlantState(
        air.supply_mmHg,
        air.valve,
        air.line,
        air.cuff_mmHg,
        air.cuff_mL,
        tissue_rate(plant.tissue, state.external_mmHg, state.cuff_mmHg),
        segment_rates(vessel, state.segment, driving),
        wall_rate(plant.artery, state.creep_area, target),
        vein_rate(plant.vein, state.venous_volume, state.external_mmHg),
        photodiode_rate(plant.light, state.photodiode, lit),
        air.reading_mmHg,
    )


@system_rates.of(Plant)
def rates_of_plant(system: Plant, state: PlantState, around: Surroundings, held: Held) -> PlantState:
    """`held_rates`, where a whole tick asks for the rates of what it advances."""
    return held_rates(system, held, state, around)


@system_vessel.of(Plant)
def vessel_of_plant(system: Plant, tone: float) -> SegmentLine:
    """The plant's own segment."""
    return segment_line(system.segment, system.artery, tone)


@system_rates.of(Pneumatics)
def rates_of_pneumatics(system: Pneumatics, state: PneumaticState, around: Surroundings, held: Held) -> PneumaticState:
    """`pneumatic_rates`: on a bench there is no finger, and nothing around it matters."""
    return pneumatic_rates(system, state, held.command)


@system_vessel.of(Pneumatics)
def no_vessel(system: Pneumatics, tone: float) -> float:
    """There is no artery under the cuff."""
    return tone


class Course(NamedTuple):
    """Surroundings at both ends of a tick."""

    start: Surroundings
    end: Surroundings


class Switchover(NamedTuple):
    """Valve command over a tick: the old one until the new one takes over."""

    old: float
    new: float
    share: float  # of the tick at which it does, 0 … 1


@fused
def between(course: Course, share: float) -> Surroundings:
    """Surroundings a share of the way through a tick: pressure moves along a line, tone and ambient are held."""
    start = course.start
    pressure = start.arterial_mmHg + share * (course.end.arterial_mmHg - start.arterial_mmHg)
    return Surroundings(pressure, start.tone, start.ambient)


@fused
def runge_kutta(
    system: Any, state: Any, course: Course, share: float, part: float, period_s: float, held: Held
) -> Any:
    """Advance by `part` of a tick from `share` of it, under what is held (classical Runge–Kutta, Kutta 1901)."""
    step = part * period_s
    middle, last = between(course, share + 0.5 * part), between(course, share + part)
    first = system_rates(system, state, between(course, share), held)
    second = system_rates(system, advance(state, 0.5 * step, first), middle, held)
    third = system_rates(system, advance(state, 0.5 * step, second), middle, held)
    fourth = system_rates(system, advance(state, step, third), last, held)
    return advance(state, step, weigh(first, second, third, fourth))


@fused
def plant_tick(
    system: Any, state: Any, course: Course, command: Switchover, substeps: float, period_s: float
) -> Any:
    """Advance a plant, or any system that answers `system_rates`, by one tick.

    The tick is cut exactly where the command changes, so that no step straddles a jump; each piece gets steps no longer
    than 1/substeps of a tick.
    """
    vessel = system_vessel(system, course.start.tone)
    rest = 1.0 - command.share
    before = choose(command.share > 0.0, max(rounded_down(substeps * command.share + 0.999999), 1.0), 0.0)
    after = choose(rest > 0.0, max(rounded_down(substeps * rest + 0.999999), 1.0), 0.0)
    first_part, last_part = command.share / max(before, 1.0), rest / max(after, 1.0)
    for i in range(int(most(before + after))):  # a finger that needs fewer steps than another ends with empty ones
        early = i < before
        part = choose(early, first_part, choose(i < before + after, last_part, 0.0))
        share = choose(early, i * first_part, command.share + (i - before) * last_part)
        in_force = choose(early, command.old, command.new)
        state = runge_kutta(system, state, course, share, part, period_s, Held(in_force, vessel))
    return without_denormals(state)


def initial_state(plant: Plant, around: Surroundings) -> PlantState:
    """The plant at rest with an empty cuff, in equilibrium with its surroundings."""
    area = static_area(plant.artery, around.arterial_mmHg, around.tone)
    veins = vein_target(plant.vein, 0.0)
    return PlantState(
        supply_mmHg=plant.supply.pressure_mmHg,
        valve=valve_nature(plant.valve).idle,
        line=initial_line(plant.tube),
        cuff_mmHg=0.0,
        cuff_mL=content_at_rest(plant.cuff, plant.air, 0.0, line_end_volume(plant.tube)),
        external_mmHg=0.0,
        segment=segment_at_rest(around.arterial_mmHg),
        creep_area=area,
        venous_volume=veins,
        photodiode=light_intensity(plant.light, area, veins, around.ambient),
        reading_mmHg=plant.transducer.offset_mmHg,
    )
