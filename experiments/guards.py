"""Everything that protects a rig: firmware detectors, and what works without firmware; by name, to be taken away."""
from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from controller.protection import DETECTORS, Fallback, LightSignal, Protection
from controller.timing import Timing
from plant.assembly import Plant, initial_state
from plant.dump_valve import DumpValve
from plant.errors import InputError
from plant.openings import least_steps
from plant.operating_point import SIDES, OperatingPoint, plant_twin
from plant.pressure_switch import PressureSwitch
from plant.relief import Relief
from plant.watchdog import Watchdog

OUTSIDE: dict[str, type] = {
    "relief": Relief, "dump_valve": DumpValve, "pressure_switch": PressureSwitch, "watchdog": Watchdog,
}
TABLES: dict[str, type] = {
    **{name: type(getattr(Protection(), name)) for name in DETECTORS}, "fallback": Fallback,
    "light_signal": LightSignal, **OUTSIDE,
}  # tables of a rig file
PROTECTIONS = (*DETECTORS, *OUTSIDE)  # each can be taken away by name


class Guards(NamedTuple):
    """What protects a rig."""

    protection: Protection = Protection()
    relief: Relief = Relief()
    dump_valve: DumpValve = DumpValve()
    pressure_switch: PressureSwitch = PressureSwitch()
    watchdog: Watchdog = Watchdog()


def guards_from(parts: dict[str, Any]) -> Guards:
    """Guards from the parts of a rig's tables, by the names in TABLES."""
    inside = Protection(**{name: parts[name] for name in (*DETECTORS, "fallback", "light_signal")})
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
    dump = guards.dump_valve
    more = least_steps(plant, dump.conductance, timing.period_s, at_cuff=dump.at_cuff) if dump.enabled else 1
    return usual, usual + more
