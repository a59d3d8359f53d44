"""Everything that protects a rig: firmware detectors, and what works without firmware; by name, to be taken away."""
from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from controller.inverse import FlowInverse
from controller.protection import DETECTORS, Fallback, Protection
from controller.timing import Timing
from plant.air import chamber_rate
from plant.assembly import Plant, initial_state
from plant.cuff import bladder_growth, bladder_volume
from plant.dump_valve import DumpValve
from plant.errors import InputError
from plant.openings import first_volume, least_steps
from plant.operating_point import SIDES, OperatingPoint, plant_twin
from plant.parts import line_end_volume
from plant.pressure_switch import PressureSwitch
from plant.pressure_valve import PressureValve
from plant.relief import Relief
from plant.watchdog import Watchdog

OUTSIDE: dict[str, type] = {
    "relief": Relief, "dump_valve": DumpValve, "pressure_switch": PressureSwitch, "watchdog": Watchdog,
}
TABLES: dict[str, type] = {
    **{name: type(getattr(Protection(), name)) for name in DETECTORS}, "fallback": Fallback, **OUTSIDE,
}  # tables of a rig file
PROTECTIONS = (*DETECTORS, *OUTSIDE)  # each can be taken away by name
SUPPLY_BAND = 0.12  # of the regulated pressure, either way
NOMINAL_mmHg = 90.0  # cuff pressure at which the firmware's belief about its valve is taken


class Guards(NamedTuple):
    """What protects a rig."""

    protection: Protection = Protection()
    relief: Relief = Relief()
    dump_valve: DumpValve = DumpValve()
    pressure_switch: PressureSwitch = PressureSwitch()
    watchdog: Watchdog = Watchdog()


def guards_from(parts: dict[str, Any]) -> Guards:
    """Guards from the parts of a rig's tables, by the names in TABLES."""
    inside = Protection(**{name: parts[name] for name in (*DETECTORS, "fallback")})
    return Guards(inside, *(parts[name] for name in OUTSIDE))


def guard_parts(guards: Guards) -> dict[str, Any]:
    """Every table of the guards with its part, in the order of TABLES."""
    outside = guards._asdict()
    inside = outside.pop("protection")._asdict()
    return {name: inside.get(name, outside.get(name)) for name in TABLES}


def without(guards: Guards, *names: str) -> Guards:
    """The guards with some protections taken away. Raises InputError for a name that is none of them."""
    parts = guard_parts(guards)
    for name in names:
        if name not in PROTECTIONS:
            raise InputError(f"protection = {name!r} is not known; use one of {', '.join(PROTECTIONS)}")
        parts[name] = parts[name]._replace(enabled=False)
    return guards_from(parts)


def armed(guards: Guards, plant: Plant, stage: Any) -> Guards:
    """The guards with what they leave to the rig filled in: how its pressure answers a command, and the band of
    its supply.

    A flow inverse's demand is a rate of pressure in the rig's own bladder at 90 mmHg, a pressure valve's command a
    pressure. For any other pair the firmware has no such belief, and only the clamp's error is watched.
    """
    response = guards.protection.response
    if response.rate_mmHg_s == 0.0 and response.range_mmHg == 0.0:
        if isinstance(stage, FlowInverse):
            volume = float(bladder_volume(plant.cuff, NOMINAL_mmHg)) + float(line_end_volume(plant.tube))
            volume += float(first_volume(plant.tube))
            growth = float(bladder_growth(plant.cuff, NOMINAL_mmHg))
            rate = float(chamber_rate(plant.air, volume, growth, NOMINAL_mmHg, stage.full_flow_mL_s))
            response = response._replace(rate_mmHg_s=rate)
        elif isinstance(plant.valve, PressureValve):
            response = response._replace(range_mmHg=plant.valve.range_mmHg)
    band, regulated = guards.protection.supply_range, plant.supply.pressure_mmHg
    band = band._replace(
        lowest_mmHg=band.lowest_mmHg or (1.0 - SUPPLY_BAND) * regulated,
        highest_mmHg=band.highest_mmHg or (1.0 + SUPPLY_BAND) * regulated,
    )
    return guards._replace(protection=guards.protection._replace(response=response, supply_range=band))


def guarded_steps(plant: Plant, guards: Guards, point: OperatingPoint, timing: Timing) -> tuple[int, int]:
    """Runge–Kutta steps a tick: with everything shut, and with relief and dump valve open.

    Chosen for stability (|λ|·step below 2.2 of Runge–Kutta's 2.8), not for the last hundredth of a mmHg, with the valve
    at rest and wide open and the cuff full and empty.
    """
    empty = initial_state(plant, point.around)
    most = 0.0
    for side in SIDES:
        wide = point._replace(command=1.0 if side == "fill" else -1.0)
        for case in (point, wide, wide._replace(state=empty._replace(valve=point.state.valve))):
            most = max(most, float(np.max(np.abs(np.linalg.eigvals(plant_twin(plant, case, side).a)))))
    usual = max(4, math.ceil(most * timing.period_s / 2.2))
    open_most = guards.dump_valve.conductance if guards.dump_valve.enabled and not guards.dump_valve.at_cuff else 0.0
    return usual, max(usual, usual + least_steps(plant, open_most, timing.period_s))
