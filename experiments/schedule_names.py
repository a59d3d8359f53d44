"""Schedules and search strategies by name, and a user's own by `FILE.py:Class`."""
from __future__ import annotations

from pathlib import Path
from typing import Any, NamedTuple, cast

from calibrate.probing_search import ProbingSearch
from calibrate.protocol import Search
from calibrate.schedule import Schedule
from calibrate.schedules import ByClock, EveryBeats, GrowingBeats, Never, OnSigns
from calibrate.searches import ArctangentSearch, ClassroomSearch
from calibrate.steady_probing import SteadyProbing
from calibrate.waveform_search import WaveformSearch
from experiments.messages import value_text
from experiments.parts_file import load_class
from plant.bounds import check_bounds
from plant.errors import InputError


class NamedSchedule(NamedTuple):
    """A schedule, what it is called in tables and pictures, and one line about it."""

    name: str
    schedule: Schedule
    about: str


class NamedSearch(NamedTuple):
    """A search strategy and its name."""

    name: str
    search: Search


_LISTED = (
    NamedSchedule("never", Never(), "one search at the start"),
    NamedSchedule("every", EveryBeats(), "a short staircase every 40 beats"),
    NamedSchedule("growing", GrowingBeats(), "intervals grow from 10 to 70 beats while the set point stays"),
    NamedSchedule("clock", ByClock(), "a short staircase every two minutes"),
    NamedSchedule("signs", OnSigns(), "when the clamp itself shows that something has changed"),
    NamedSchedule("steady", SteadyProbing(), "a small probing signal in the clamp, without interruption"),
)
SCHEDULES: dict[str, NamedSchedule] = {named.name: named for named in _LISTED}
SEARCHES: dict[str, Search] = {
    "classroom": ClassroomSearch(), "arctangent": ArctangentSearch(), "waveform": WaveformSearch(),
    "probing": ProbingSearch(),
}


def find_schedules(specs: list[str] | None, folder: Path) -> tuple[NamedSchedule, ...]:
    """Schedules by name or `FILE.py:Class` (relative to `folder`), in the order given; all named ones without any.

    A user's own is made with its default parameters and named after its class. Raises InputError.
    """
    if not specs:
        return _LISTED
    found = tuple(_schedule(spec, folder) for spec in specs)
    names = [named.name for named in found]
    for name in names:
        if names.count(name) > 1:
            raise InputError(f"--schedule {value_text(name)} is given twice")
    return found


def find_search(spec: str, folder: Path) -> NamedSearch:
    """A search strategy by name or `FILE.py:Class`. Raises InputError."""
    if spec in SEARCHES:
        return NamedSearch(spec, SEARCHES[spec])
    return NamedSearch(spec.rpartition(":")[2], cast(Search, _own("--strategy", spec, folder, "search", SEARCHES)))


def _schedule(spec: str, folder: Path) -> NamedSchedule:
    if spec in SCHEDULES:
        return SCHEDULES[spec]
    own = cast(Schedule, _own("--schedule", spec, folder, "program", SCHEDULES))
    return NamedSchedule(type(own).__name__, own, "your own")


def _own(option: str, spec: str, folder: Path, method: str, known: dict[str, Any]) -> object:
    """An object of a user's class, with its default parameters."""
    if ".py:" not in spec:
        names = ", ".join(known)
        raise InputError(f"{option} {value_text(spec)}: use one of {names}, or FILE.py:Class for your own")
    kind: Any = load_class(spec, folder, option)
    said = f"{option} {value_text(spec)}"
    if not callable(getattr(kind, method, None)):
        raise InputError(f"{said}: the class has no method {method}")
    try:
        made = kind()
    except Exception as error:  # the class is the user's own code
        raise InputError(f"{said}: cannot be made without arguments: {type(error).__name__}: {error}") from None
    check_bounds(made, said)
    return cast(object, made)
