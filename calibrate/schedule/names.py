"""Schedules and scenarios by name, and a schedule of the user's own by `FILE.py:Class`."""
from __future__ import annotations

from pathlib import Path
from typing import Any, NamedTuple, cast

from calibrate.schedule.schedule import Schedule
from calibrate.schedule.schedules import ByClock, EveryBeats, GrowingBeats, Never, OnSigns
from calibrate.schedule.steady_probing import SteadyProbing
from plant.bounds import check_bounds
from plant.errors import InputError
from plant.messages import value_text
from plant.own_class import load_class
from plant.scenarios.scenario import SCENARIOS, find_scenario

ALL = "all"


class NamedSchedule(NamedTuple):
    """A schedule, what it is called in tables and pictures, and one line about it."""

    name: str
    schedule: Schedule
    about: str


def _listed() -> tuple[NamedSchedule, ...]:
    every, growing, clock = EveryBeats(), GrowingBeats(), ByClock()
    return (
        NamedSchedule("never", Never(), "one search at the start"),
        NamedSchedule("every", every, f"a short staircase every {every.beats} beats"),
        NamedSchedule("growing", growing, f"intervals of {growing.shortest} beats, growing to {growing.longest}"),
        NamedSchedule("clock", clock, f"a short staircase every {clock.every_s:g} s"),
        NamedSchedule("signs", OnSigns(), "when the clamp itself shows that something has changed"),
        NamedSchedule("steady", SteadyProbing(), "a small probing signal in the clamp, without interruption"),
    )


SCHEDULES: dict[str, NamedSchedule] = {named.name: named for named in _listed()}


def find_schedules(text: str, folder: Path) -> tuple[NamedSchedule, ...]:
    """Schedules of a list like `never,growing,mine.py:Mine` (files relative to `folder`), or all the built-in ones.

    A user's own is made with its default parameters and named after its class. Raises InputError.
    """
    specs = _parts(text, "--schedules")
    if specs == [ALL]:
        return tuple(SCHEDULES.values())
    found = tuple(_schedule(spec, folder) for spec in specs)
    _once([named.name for named in found], "--schedules")
    return found


def find_scenarios(text: str) -> tuple[str, ...]:
    """Names of scenarios of a list like `cold,pain`, or all of them. Raises InputError."""
    specs = _parts(text, "--scenarios")
    if specs == [ALL]:
        return tuple(SCENARIOS)
    found = tuple(find_scenario(spec).name for spec in specs)
    _once(list(found), "--scenarios")
    return found


def _parts(text: str, option: str) -> list[str]:
    specs = [spec.strip() for spec in text.split(",")]
    if not all(specs):
        raise InputError(f"{option} {value_text(text)}: write names with commas between them, or all")
    return specs


def _once(names: list[str], option: str) -> None:
    for name in names:
        if names.count(name) > 1:
            raise InputError(f"{option}: {value_text(name)} is given twice")


def _schedule(spec: str, folder: Path) -> NamedSchedule:
    if spec in SCHEDULES:
        return SCHEDULES[spec]
    own = cast(Schedule, _own(spec, folder))
    return NamedSchedule(type(own).__name__, own, "your own")


def _own(spec: str, folder: Path) -> object:
    """A schedule of a user's class, with its default parameters."""
    said = f"--schedules {value_text(spec)}"
    if ".py:" not in spec:
        raise InputError(f"{said}: use some of {', '.join(SCHEDULES)}, all, or FILE.py:Class for your own")
    kind: Any = load_class(spec, folder, "--schedules")
    if not callable(getattr(kind, "program", None)):
        raise InputError(f"{said}: the class has no method program(instrument, search, diary)")
    try:
        made = kind()
    except Exception as error:  # the class is the user's own code
        raise InputError(f"{said}: cannot be made without arguments: {type(error).__name__}: {error}") from None
    check_bounds(made, said)
    return cast(object, made)
