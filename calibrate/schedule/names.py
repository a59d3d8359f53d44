"""Schedules and scenarios by name, and a schedule of the user's own by `FILE.py:Class`.

A name may carry numbers and a look: `every:20` is every 20 beats, `growing:12:96` grows from 12 to 96, `clock:90` comes
every 90 s, `confirmed:30` confirms every 30 s; `+wide` looks again by wide looks in the clamp, `+stairs` by a short
staircase. When and how are choices of their own, so that like is compared with like.
"""
from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple, cast

from calibrate.schedule.confirmed import ConfirmedSetPoint
from calibrate.schedule.recalibration import ShortStaircase, WideLooks
from calibrate.schedule.schedule import Schedule
from calibrate.schedule.schedules import Again, ByClock, EveryBeats, GrowingBeats, Never, OnSigns
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
    every, growing, clock, confirmed = EveryBeats(), GrowingBeats(), ByClock(), ConfirmedSetPoint()
    return (
        NamedSchedule("never", Never(), "one search at the start"),
        NamedSchedule("every", every, f"a short staircase every {every.beats} beats"),
        NamedSchedule("growing", growing, f"intervals of {growing.shortest} beats, growing to {growing.longest}"),
        NamedSchedule("clock", clock, f"a short staircase every {clock.every_s:g} s"),
        NamedSchedule("signs", OnSigns(), "when the clamp itself shows that something has changed"),
        NamedSchedule("confirmed", confirmed, f"a confirmation every {confirmed.every_s:g} s, looks where it denies"),
        NamedSchedule("steady", SteadyProbing(), "a small probing signal in the clamp, without interruption"),
    )


SCHEDULES: dict[str, NamedSchedule] = {named.name: named for named in _listed()}
LOOKS: dict[str, Callable[[], Again]] = {"stairs": ShortStaircase, "wide": WideLooks}  # how it is looked for again
NUMBERS = {  # what the numbers behind a name set, and what they are in words
    "every": {"beats": "beats"}, "growing": {"shortest": "beats at first", "longest": "beats at most"},
    "clock": {"every_s": "s"}, "confirmed": {"every_s": "s"},
}


def find_schedules(text: str, folder: Path) -> tuple[NamedSchedule, ...]:
    """Schedules of a list like `never,every:20+wide,mine.py:Mine` (files relative to `folder`), or all built-in ones.

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
    base = spec.partition("+")[0].partition(":")[0]
    if base in SCHEDULES and ".py:" not in spec:
        return _varied(spec, SCHEDULES[base])
    own = cast(Schedule, _own(spec, folder))
    return NamedSchedule(type(own).__name__, own, "your own")


def _varied(spec: str, named: NamedSchedule) -> NamedSchedule:
    """A built-in schedule with numbers or a look of its own. Raises InputError."""
    said = f"--schedules {value_text(spec)}"
    front, _, how = spec.partition("+")
    numbers, known = front.split(":")[1:], NUMBERS.get(named.name, {})
    made: Any = named.schedule
    if numbers and len(numbers) != len(known):
        form = ":".join([named.name, *(word.replace(" ", "-").upper() for word in known.values())])
        raise InputError(f"{said}: write {form}" if known else f"{said}: {named.name} takes no numbers")
    for field, text in zip(known, numbers, strict=False):
        kind = type(getattr(made, field))
        try:
            made = made._replace(**{field: kind(text)})
        except ValueError:
            raise InputError(f"{said}: {value_text(text)} is not a {'whole ' if kind is int else ''}number") from None
    if "+" in spec:
        if how not in LOOKS or not hasattr(made, "short"):
            which = f"use +{' or +'.join(LOOKS)}" if hasattr(made, "short") else f"{named.name} has one look only"
            raise InputError(f"{said}: {which}")
        made = made._replace(short=LOOKS[how]())
    check_bounds(made, said)
    if isinstance(made, GrowingBeats) and made.longest < made.shortest:
        raise InputError(f"{said}: the longest interval must be at least the shortest")
    words = ", ".join(f"{text} {word}" for text, word in zip(numbers, known.values(), strict=False))
    about = f"{words or named.about}{f', looking by {how}' if how else ''}"
    return NamedSchedule(spec, cast(Schedule, made), about)


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
