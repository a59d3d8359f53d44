"""What a study says of each failure, ready to be told: outcomes, which limits break, and on what each failure rests."""
from __future__ import annotations

import math
from typing import NamedTuple


class Outcome(NamedTuple):
    """What the runs of one failure showed at their worst, with one set of protections."""

    highest_mmHg: float  # at the finger
    detect_s: float  # onset to the first warning or reaction; infinite for never
    vent_s: float  # start of venting to below 20 mmHg, slowest; infinite for never
    wrong_mmHg: float  # largest error of a waveform that was shown with no warning
    wrong_s: float  # longest time of an error above 10 mmHg that was shown with no warning
    broken: tuple[str, ...] = ()  # limits that were broken
    skin_degC: float = math.nan  # hottest skin under the emitter; nan where a study does not say


class Failure(NamedTuple):
    """One failure of the catalogue, with its outcome under all protection and with each protection taken away."""

    name: str
    item: str
    mode: str
    effect: str
    cause: str
    detection: str  # what caught it first
    runs: int  # with all protection
    broken_runs: int  # of these, how many broke a limit
    missed_runs: int  # and how many nobody noticed
    detect_median_s: float  # of those that were noticed; nan when none was
    protected: Outcome
    without: dict[str, Outcome]  # by protection taken away


PRESSURE, TIME, VENT, HEAT = "pressure", "time above normal", "vent", "skin heat"
WRONG, ALARM = "undetected wrong reading", "false alarm"
BREAKS = (PRESSURE, TIME, VENT, HEAT, WRONG, ALARM)  # limits that a run can break, the gravest first
MEANING = {  # what it means that a limit is broken
    PRESSURE: "pressure above the limit", TIME: "too long above the normal pressure",
    VENT: "does not empty in time", HEAT: "skin too hot", WRONG: "reads wrong and nobody notices",
}


def broken_words(limits: tuple[str, ...]) -> str:
    """What it means that these limits are broken."""
    return ", ".join(MEANING.get(limit, f"breaks {limit}") for limit in limits) or "every limit kept"


def gravity(limits: tuple[str, ...]) -> int:
    """Rank of the gravest of some broken limits; 0 where none is broken."""
    return max((len(BREAKS) - BREAKS.index(limit) if limit in BREAKS else 1 for limit in limits), default=0)


def newly_broken(failure: Failure, protection: str) -> tuple[str, ...]:
    """Limits that a failure breaks once a protection is gone, and keeps with it."""
    return tuple(limit for limit in failure.without[protection].broken if limit not in failure.protected.broken)


def breaking_losses(failure: Failure) -> list[str]:
    """Protections whose loss lets a failure break a limit that it keeps with them; the gravest loss first."""
    found = [name for name in failure.without if newly_broken(failure, name)]
    return sorted(found, key=lambda name: (-gravity(newly_broken(failure, name)), -failure.without[name].highest_mmHg,
                                           -failure.without[name].wrong_s))


def single_points(failures: list[Failure]) -> list[tuple[str, str, tuple[str, ...]]]:
    """(protection, failure, limits broken): every protection whose loss, with one failure, breaks what it did not."""
    return [(name, failure.name, newly_broken(failure, name))
            for failure in failures for name in failure.without if newly_broken(failure, name)]


def uncontained(failures: list[Failure]) -> list[Failure]:
    """Failures that break a limit with all protection, the gravest first."""
    loose = [failure for failure in failures if failure.protected.broken]
    return sorted(loose, key=lambda f: (-gravity(f.protected.broken), -f.broken_runs / f.runs,
                                        -f.protected.wrong_s * f.protected.wrong_mmHg, f.name))


def worst_contained(failures: list[Failure]) -> Failure | None:
    """Of those that keep every limit: the one with the gravest loss of one protection, then the highest pressure."""
    def badness(failure: Failure) -> tuple[int, float]:
        outcomes = (failure.protected, *failure.without.values())
        lost = [gravity(newly_broken(failure, name)) for name in failure.without]
        return max(lost, default=0), max(outcome.highest_mmHg for outcome in outcomes)

    kept = [failure for failure in failures if not failure.protected.broken]
    return max(kept, key=badness) if kept else None
