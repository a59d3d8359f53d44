"""When to look for the set point again: the protocol of a schedule, and what all schedules share.

A schedule is a generator like a search, but it goes on for ever: it finds a set point, clamps, and decides from light,
reading and command alone when the set point must be looked for again. What it did it writes into a diary.
"""
from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol, TypeVar

import numpy as np

from calibrate.protocol import Clamp, Failed, Found, Hold, Instrument, Request, Samples, Search, Seen, Vent
from plant.pressure.beats import beat_values, detect_beats

Result = TypeVar("Result")
Program = Generator[Request, Seen, Failed]  # ends only when no set point can be found any more
PATIENCE = 12  # searches that may fail one after another before a schedule gives up: a quarter of an hour
EMPTY_s = 1.0  # of venting before a new search
NEARLY_EMPTY_mmHg = 2.0
REST_s, LONGEST_REST_s = 5.0, 60.0  # of waiting before a failed search is repeated: twice as long each time


class Entry(NamedTuple):
    """One line of the diary."""

    time_s: float  # since the start
    what: str  # 'search', 'recalibration' or 'failed'
    moved_mmHg: float  # how far the set point moved, as cuff pressure, up positive; nan where that is not known
    why: str


@dataclass
class Diary:
    """What a schedule did, and its clock."""

    time_s: float = 0.0
    entries: list[Entry] = field(default_factory=list)

    def note(self, what: str, moved_mmHg: float, why: str) -> None:
        """Write a line."""
        self.entries.append(Entry(self.time_s, what, moved_mmHg, why))


class Schedule(Protocol):
    """A schedule: parameters of its own, and one method that makes a program."""

    def program(self, instrument: Instrument, search: Search, diary: Diary) -> Program:
        """A program that runs for ever."""


Timed = Generator[Request, Seen, Seen]


def timed(request: Request, instrument: Instrument, diary: Diary) -> Timed:
    """A request, with the diary's clock moved on by what it takes."""
    seen = yield request
    diary.time_s += instrument.ticks(request.seconds) * instrument.period_s
    return seen


def find(
    instrument: Instrument, search: Search, diary: Diary, why: str
) -> Generator[Request, Seen, Found | Failed]:
    """A whole search, repeated when it fails: vessels that have shut in the cold open again within minutes."""
    outcome: Found | Failed = Failed("timed out", "no search")
    for count in range(PATIENCE):
        if diary.time_s > 0.0:
            yield from timed(Vent(EMPTY_s), instrument, diary)
            yield from timed(Hold(NEARLY_EMPTY_mmHg, 0.2), instrument, diary)  # or the valve's way back counts as fill
        outcome = yield from keep_time(search.search(instrument), instrument, diary)
        if isinstance(outcome, Found):
            diary.note("search", float("nan"), why)
            return outcome
        diary.note("failed", float("nan"), outcome.message)
        yield from timed(Vent(min(REST_s * 2.0 ** max(count - 1, 0), LONGEST_REST_s)), instrument, diary)
    return outcome


def keep_time(
    plan: Generator[Request, Seen, Result], instrument: Instrument, diary: Diary
) -> Generator[Request, Seen, Result]:
    """Run another generator's requests, with the diary's clock moved on."""
    try:
        request = next(plan)
        while True:
            seen = yield from timed(request, instrument, diary)
            request = plan.send(seen)
    except StopIteration as end:
        result: Result = end.value
        return result


class Beats(NamedTuple):
    """What the reading of a stretch of clamp tells of the pulse."""

    number: float  # beats in the stretch
    period_s: float  # mean beat
    systolic_mmHg: float  # median peak
    diastolic_mmHg: float  # median foot
    mean_mmHg: float


def beats_in(reading_mmHg: Samples, period_s: float) -> Beats | None:
    """Beats of a stretch of clamped reading; None where there is no pulse."""
    onsets = detect_beats(reading_mmHg, period_s)
    if len(onsets) < 2:
        return None
    width = max(round(0.03 / period_s), 1)
    smooth = np.convolve(reading_mmHg, np.full(width, 1.0 / width), "same")
    values = beat_values(smooth, onsets, period_s)
    beat = float(np.median(np.diff(onsets))) * period_s
    return Beats(
        len(reading_mmHg) * period_s / beat, beat, float(np.median(values.systolic_mmHg)),
        float(np.median(values.diastolic_mmHg)), float(np.mean(reading_mmHg)),
    )


def quiet_clamp(found: Found, seconds: float) -> Clamp:
    """Clamping at a set point, nothing added, the waveform shown."""
    return Clamp(found.set_point, found.light_slope, seconds)
