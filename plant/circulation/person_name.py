"""The name of a virtual person as a record: `person:45f`, `person:60m,height_cm=182,ectopic_share=0.05`.

After age and sex come `key=value`, keys being fields of Person, Physiology and Rhythm; `seed=N` draws the physiology
from the scatter of people instead of the usual one.
"""
from __future__ import annotations

import re
from typing import NamedTuple

import numpy as np

from plant.bounds import check_bounds
from plant.circulation.heartbeats import Rhythm
from plant.circulation.person import Person, Physiology, Sex, drawn_physiology, person_of, usual_physiology
from plant.circulation.person_pressure import Course, PersonRecord, person_record, toned
from plant.errors import InputError
from plant.finger.tone import ToneDrive, tone_samples
from plant.pressure.record_check import RawRecord

TONE_s = 0.02  # of the grid on which tone is kept
PREFIX = "person:"
HINT = "write person:45f, or person:60m,height_cm=182,rate_per_min=90"
_HEAD = re.compile(r"(\d{1,3})([fm])")


class Named(NamedTuple):
    """Somebody by name."""

    person: Person
    state: Physiology
    rhythm: Rhythm


def is_person(name: object) -> bool:
    """Whether a record's name means a virtual person."""
    return str(name).startswith(PREFIX)


def named_person(name: str) -> Named:
    """The person, the physiology and the rhythm that a name means. Raises InputError, which names the key."""
    head, *settings = name.removeprefix(PREFIX).split(",")
    known = _HEAD.fullmatch(head.strip())
    if known is None:
        raise InputError(f"record {name}: '{head}' is no age and sex; {HINT}")
    values = _values(name, settings)
    sex: Sex = "f" if known[2] == "f" else "m"
    person = person_of(float(known[1]), sex, values.pop("height_cm", None), values.pop("weight_kg", None),
                       label=f"record {name}: Person")
    person = person._replace(**{k: values.pop(k) for k in ("gradient_mmHg",) if k in values})
    state = usual_physiology(person)
    if "seed" in values:
        state = drawn_physiology(person, np.random.Generator(np.random.PCG64(int(values.pop("seed")))))
    state = state._replace(**{k: values.pop(k) for k in Physiology._fields if k in values})
    rhythm = Rhythm(**values)
    for part in (person, state, rhythm):
        check_bounds(part, f"record {name}: {type(part).__name__}")
    return Named(person, state, rhythm)


def _values(name: str, settings: list[str]) -> dict[str, float]:
    keys = ("height_cm", "weight_kg", "gradient_mmHg", "seed", *Physiology._fields, *Rhythm._fields)
    values: dict[str, float] = {}
    for setting in settings:
        key, equals, text = (part.strip() for part in setting.partition("="))
        if not equals or key not in keys:
            raise InputError(f"record {name}: '{setting.strip()}' is no KEY=NUMBER with KEY one of "
                             f"{', '.join(keys)}")
        try:
            values[key] = float(text)
        except ValueError:
            raise InputError(f"record {name}: {key} = '{text}' is not a number") from None
    if "seed" in values and not (values["seed"] >= 0.0 and values["seed"] % 1.0 == 0.0 and values["seed"] < 2**32):
        raise InputError(f"record {name}: seed = {values['seed']:g} must be a whole number from 0 to {2**32 - 1}")
    return values


def named_record(
    name: str, period_s: float, seconds: float, seed: int, course: Course | None = None
) -> PersonRecord:
    """The record of a named person; `seed` is that of the beats. Raises InputError."""
    who = named_person(name)
    return person_record(who.person, who.state, who.rhythm, period_s, seconds, seed, course)


def driven_tone(
    name: str, drive: ToneDrive, period_s: float, seconds: float, start_s: float, seed: int
) -> Course | None:
    """Tone of hand and finger that a finger's drive adds to the person's own, in a run that begins `start_s` into it.

    The same samples as the run's own; None where the drive adds nothing. Raises InputError for a bad name.
    """
    tone = tone_samples(drive, round(seconds / period_s) + 1, period_s, seed)
    if not np.any(tone):
        return None
    every = max(1, round(TONE_s / period_s))
    own = named_person(name).state.tone
    return toned(np.asarray(start_s + np.arange(len(tone))[::every] * period_s, float), own + tone[::every])


def raw_person(name: str, seconds: float, seed: int, course: Course | None = None) -> RawRecord:
    """The finger pressure of a named person as a record of 1,000 samples/s. Raises InputError."""
    period_s = 1e-3
    trace = named_record(name, period_s, seconds, seed, course).trace(name)
    count = len(trace.pressure_mmHg)
    rows = np.arange(count)
    time_s = np.asarray(rows * period_s, float)
    return RawRecord(time_s, trace.pressure_mmHg, np.ones(count, bool), rows, "sample", name, trace.source)
