"""The limits for failures as a table: identifier, what must hold, what was found, verdict and rationale."""
from __future__ import annotations

from typing import Any, NamedTuple

from experiments.safety.faults.findings import HEAT, PRESSURE, TIME, VENT, WRONG, Failure
from experiments.safety.faults.verdict import FaultLimits

LIMIT_HEAD = ("Id", "What must hold in a single-fault condition", "Found with all protection", "Broken by",
              "Verdict", "Rationale")
UNKNOWN = "not studied"


class LimitAbout(NamedTuple):
    """A limit's identifier, its words (with the limits' values filled in), and why it is there."""

    identifier: str
    words: str
    rationale: str


ABOUT = {  # by what breaks
    PRESSURE: LimitAbout("FL1", "cuff pressure never above {fault_mmHg:g} mmHg",
                         "a finger must stand it for moments; IEC 80601-2-30 by analogy, from memory"),
    TIME: LimitAbout("FL2", "above {normal_mmHg:g} mmHg for {above_normal_s:g} s at most",
                     "as FL1; the time is invented"),
    VENT: LimitAbout("FL3", "below {vent_mmHg:g} mmHg within {vent_s:g} s once the cuff has to be emptied",
                     "blood must come back; IEC 80601-2-30 and OIML R 16-2 by analogy, from memory"),
    HEAT: LimitAbout("FL4", "skin under the emitter at most {skin_degC:g} °C",
                     "long contact with skin; IEC 60601-1, from memory"),
    WRONG: LimitAbout("FL5", "no waveform off by more than {wrong_mmHg:g} mmHg shown without a warning for over "
                              "{wrong_s:g} s", "a wrong number is believed; sizes are invented"),
}


def limit_rows(failures: list[Failure], allowed: dict[str, float]) -> list[list[Any]]:
    """One row a limit. `allowed` are the values of a study's limits; where one is missing the shipped one stands."""
    values = FaultLimits()._asdict() | allowed
    rows: list[list[Any]] = []
    for limit, about in ABOUT.items():
        found = _found(limit, failures)
        breaking = [failure.name.replace("_", " ") for failure in failures if limit in failure.protected.broken]
        rows.append([about.identifier, about.words.format(**values), found, ", ".join(breaking) or "none",
                     not breaking if found != UNKNOWN else UNKNOWN, about.rationale])
    return rows


def _found(limit: str, failures: list[Failure]) -> str:
    """The largest figure that a limit is held against, and whose it is."""
    figures = {PRESSURE: ("highest_mmHg", "mmHg"), VENT: ("vent_s", "s to below 20 mmHg"), HEAT: ("skin_degC", "°C"),
               WRONG: ("wrong_s", "s wrong, unsaid")}
    if limit not in figures:
        return "as FL1"
    name, unit = figures[limit]
    known = [(value, failure.name) for failure in failures
             if (value := float(getattr(failure.protected, name))) < float("inf")]
    if not known:
        return UNKNOWN
    value, whose = max(known)
    return f"{value:.3g} {unit} ({whose.replace('_', ' ')})"
