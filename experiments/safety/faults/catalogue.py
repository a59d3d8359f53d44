"""The catalogue: every failure that can be injected, and the physiology that must not be taken for one."""
from __future__ import annotations

from experiments.rigs.rig import Rig
from experiments.safety.faults.fault import Fault
from experiments.safety.faults.firmware import FIRMWARE
from experiments.safety.faults.hardware import HARDWARE
from experiments.safety.faults.physiology import PHYSIOLOGIES, USE
from experiments.safety.faults.sensing import SENSING
from plant.errors import InputError
from plant.messages import value_text
from plant.read_number import read_number

FAILURES: tuple[Fault, ...] = (*HARDWARE, *SENSING, *FIRMWARE, *USE)
OF_LAW = "fails inside the rig's own law, which this firmware replaces"
CATALOGUE: dict[str, Fault] = {fault.name: fault for fault in (*FAILURES, *PHYSIOLOGIES)}


def find_faults(names: str | None, rig: Rig, own_law: bool = True) -> list[Fault]:
    """Entries by name, separated by commas; without names, everything that a rig can have.

    A name may be followed by a severity, as in `tube_kinked:0.5`. Without the rig's own law (somebody's firmware is in
    its place) nothing inside that can fail. Raises InputError.
    """
    if not names:
        return [f for f in CATALOGUE.values() if not f.excluded(rig) and (own_law or not f.of_law)]
    for fault in CATALOGUE.values() if not own_law else ():
        if fault.of_law and fault.name in [text.partition(":")[0].strip() for text in names.split(",")]:
            raise InputError(f"fault = {fault.name}: {OF_LAW}; leave it out with --firmware")
    found = [_one(name.strip(), rig) for name in names.split(",") if name.strip()]
    if not found:
        raise InputError(f"fault = {value_text(names)} names none; use some of {', '.join(CATALOGUE)}")
    return found


def excluded_faults(rig: Rig, own_law: bool = True) -> dict[str, str]:
    """The failures that a rig cannot have, and why."""
    return {fault.name: why for fault in FAILURES
            if (why := fault.excluded(rig) or ("" if own_law or not fault.of_law else OF_LAW))}


def _one(text: str, rig: Rig) -> Fault:
    name, colon, severity = text.partition(":")
    if name not in CATALOGUE:
        raise InputError(f"fault = {value_text(name)} is not known; use one of {', '.join(CATALOGUE)}")
    fault = CATALOGUE[name]
    if why := fault.excluded(rig):
        raise InputError(f"fault = {name} cannot happen to rig {rig.name}: {why}")
    if not colon:
        return fault
    try:
        value = read_number(severity)
    except ValueError:
        value = -1.0
    if not 0.0 <= value <= 1.0:
        raise InputError(f"fault {name}: severity = {value_text(severity)} must be a number from 0 to 1")
    return fault._replace(severity=value)
