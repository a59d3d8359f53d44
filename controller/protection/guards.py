"""Everything that protects a rig: firmware detectors, and what works without firmware; by name, to be taken away."""
from __future__ import annotations

from typing import Any, NamedTuple

from controller.protection.protection import DETECTORS, Fallback, LightSignal, Protection
from plant.electronics.pressure_switch import PressureSwitch
from plant.electronics.watchdog import Watchdog
from plant.errors import InputError
from plant.pneumatics.dump_valve import DumpValve
from plant.pneumatics.relief import Relief

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
