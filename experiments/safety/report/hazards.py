"""Hazards: what can hurt, whom it can reach and how, the possible harm, and the controls against it.

Terms as in ISO 14971 (from memory, in general words). Which hazard a failure leads to follows from the limits that its
runs broke, with all protection or without one of them.
"""
from __future__ import annotations

from typing import NamedTuple

from experiments.safety.faults.findings import (
    BREAKS,
    HEAT,
    PRESSURE,
    TIME,
    VENT,
    WRONG,
    Failure,
    breaking_losses,
)


class Hazard(NamedTuple):
    """A source of harm, the situation in which it reaches somebody, and the harm."""

    identifier: str
    name: str
    situation: str
    harm: str


HIGH = Hazard("HZ1", "high cuff pressure", "the bladder presses harder, or harder for longer, than in normal use",
              "injury of skin, nerve or vessel")
TRAPPED = Hazard("HZ2", "pressure that stays", "the cuff is not emptied when it has to be",
                 "lack of blood in the finger")
HOT = Hazard("HZ3", "heat of the emitter", "skin under the cuff warms beyond what it stands", "burn")
FALSE = Hazard("HZ4", "wrong reading", "a waveform that is off is shown with no warning, and believed",
               "wrong, or no, treatment")
LOST = Hazard("HZ5", "no reading", "the instrument warns or lets go, and there is no pressure to be seen",
              "late treatment")
HAZARDS = (HIGH, TRAPPED, HOT, FALSE, LOST)
LIMITS = {PRESSURE: HIGH, TIME: HIGH, VENT: TRAPPED, HEAT: HOT, WRONG: FALSE}  # limit: what its breach means


def hazards_of(failure: Failure) -> list[Hazard]:
    """The hazards that a failure led to in some run, with all protection or without one; the gravest first."""
    broken = {limit for outcome in (failure.protected, *failure.without.values()) for limit in outcome.broken}
    found = list(dict.fromkeys(LIMITS[limit] for limit in BREAKS if limit in broken and limit in LIMITS))
    if not found and failure.missed_runs < failure.runs:
        return [LOST]
    return found


def control_words(failure: Failure) -> str:
    """The protections without which, one at a time, the failure breaks a limit."""
    return ", ".join(name.replace("_", " ") for name in breaking_losses(failure))


def hazard_rows(failures: list[Failure]) -> list[list[object]]:
    """One row a hazard: identifier, name, situation, harm, how many failures lead to it, controls, not contained."""
    rows: list[list[object]] = []
    for hazard in HAZARDS:
        leading = [failure for failure in failures if hazard in hazards_of(failure)]
        controls = sorted({name for failure in leading for name in breaking_losses(failure)
                           if any(LIMITS.get(limit) is hazard for limit in failure.without[name].broken)})
        loose = [failure.name for failure in leading
                 if any(LIMITS.get(limit) is hazard for limit in failure.protected.broken)]
        words = [", ".join(name.replace("_", " ") for name in names) or "none" for names in (controls, loose)]
        rows.append([hazard.identifier, hazard.name, hazard.situation, hazard.harm, len(leading), *words])
    return rows
