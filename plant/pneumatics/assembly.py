"""The pneumatics alone: valve, supply, line, cuff and transducer, coupled into one rate function.

What a bench has without a finger. `plant.assembly` calls the same function for the whole plant: written once.
"""
from __future__ import annotations

from typing import NamedTuple

from plant.declare import fused
from plant.electronics.transducer import Transducer, sensed_pressure, transducer_rate
from plant.parts import line_end_volume, line_node, line_rates, valve_flows, valve_nature, valve_rates
from plant.pneumatics.air import Air
from plant.pneumatics.cuff import Cuff, content_at_rest, content_rate, cuff_rate
from plant.pneumatics.flow_valve import FlowValve, SpoolState
from plant.pneumatics.pressure_valve import PressureValve, StageState
from plant.pneumatics.supply import Supply, supply_rate
from plant.pneumatics.tube import LineState, NoLineState, NoTube, Tube


class Pneumatics(NamedTuple):
    """Every part that air goes through, and the transducer. Valve and tube come in variants, told apart by class."""

    valve: FlowValve | PressureValve = FlowValve()
    supply: Supply = Supply()
    air: Air = Air()
    tube: Tube | NoTube = Tube()
    cuff: Cuff = Cuff()
    transducer: Transducer = Transducer()


class PneumaticState(NamedTuple):
    """State of the pneumatics between two ticks."""

    supply_mmHg: float  # reservoir gauge pressure
    valve: SpoolState | StageState
    line: LineState | NoLineState
    cuff_mmHg: float  # gauge pressure in the bladder
    cuff_mL: float  # air in it and in the line's end, at the reference atmosphere
    reading_mmHg: float  # transducer output before its converter


@fused
def pneumatic_rates(pneumatics: Pneumatics, state: PneumaticState, command: float) -> PneumaticState:
    """Rate of every state [its unit per s] under a held valve command."""
    air, tube, cuff = pneumatics.air, pneumatics.tube, pneumatics.cuff
    node = line_node(tube, state.line, state.cuff_mmHg)
    drawn, inflow = valve_flows(pneumatics.valve, air, state.valve, node, state.supply_mmHg)
    line, outflow = line_rates(tube, air, state.line, inflow, state.cuff_mmHg)
    sensed = sensed_pressure(pneumatics.transducer, node, state.cuff_mmHg)
    return PneumaticState(
        supply_rate(pneumatics.supply, air, state.supply_mmHg, drawn),
        valve_rates(pneumatics.valve, state.valve, command),
        line,
        cuff_rate(cuff, air, state.cuff_mmHg, state.cuff_mL, outflow, line_end_volume(tube)),
        content_rate(cuff, state.cuff_mmHg, outflow),
        transducer_rate(pneumatics.transducer, state.reading_mmHg, sensed),
    )


def pneumatics_at_rest(pneumatics: Pneumatics, pressure_mmHg: float = 0.0) -> PneumaticState:
    """At rest with the same gauge pressure [mmHg] in line and cuff, and the supply at its set pressure."""
    tube, transducer = pneumatics.tube, pneumatics.transducer
    if isinstance(tube, NoTube):
        line: LineState | NoLineState = NoLineState(0.0)
    else:
        line = LineState((float(pressure_mmHg),) * tube.sections, (0.0,) * tube.sections)
    return PneumaticState(
        pneumatics.supply.pressure_mmHg, valve_nature(pneumatics.valve).idle, line, float(pressure_mmHg),
        float(content_at_rest(pneumatics.cuff, pneumatics.air, pressure_mmHg, line_end_volume(tube))),
        transducer.gain * pressure_mmHg + transducer.offset_mmHg,
    )
