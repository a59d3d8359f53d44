"""Schedules that interrupt the waveform: every so many beats, growing intervals, by the clock, on a sign of drift."""
from __future__ import annotations

from collections.abc import Callable, Generator
from typing import Annotated, NamedTuple

from calibrate.protocol import Failed, Found, Instrument, Request, Search, Seen
from calibrate.schedule.drift_signs import Signs, signs_of
from calibrate.schedule.recalibration import ShortStaircase, WideLooks
from calibrate.schedule.schedule import Beats, Diary, Program, beats_in, find, keep_time, quiet_clamp, timed
from plant.declare import group, quantity

LOOK_s = 5.0  # of clamp between two looks at the beats
ENTER_s = 1.0  # of clamp before its beats are believed
STILL_mmHg = 2.0  # a set point that moved by less has stayed

Again = ShortStaircase | WideLooks
Stretch = Generator[Request, Seen, "tuple[Beats | None, str]"]


class Never(NamedTuple):
    """Search once and leave it at that: what all other schedules have to beat."""

    def program(self, instrument: Instrument, search: Search, diary: Diary) -> Program:
        """One search; another only when the pulse is lost."""
        return (yield from repeated(instrument, search, diary, ShortStaircase(), lambda moved: float("inf")))


class EveryBeats(NamedTuple):
    """A short staircase every N beats."""

    beats: Annotated[int, quantity("1", 5, 100000, "beats between two staircases", "invented")] = 40
    short: Annotated[Again, group("how it is looked for again")] = ShortStaircase()

    def program(self, instrument: Instrument, search: Search, diary: Diary) -> Program:
        """Always the same interval."""
        return (yield from repeated(instrument, search, diary, self.short, lambda moved: float(self.beats)))


class GrowingBeats(NamedTuple):
    """Short intervals first; longer while the set point stays, shorter when it has moved."""

    shortest: Annotated[int, quantity("1", 3, 1000, "beats of the first interval", "invented")] = 12
    longest: Annotated[int, quantity("1", 3, 100000, "beats of the longest", "invented")] = 96
    growth: Annotated[float, quantity("1", 1, 10, "factor while the set point stays", "invented")] = 1.5
    moved_mmHg: Annotated[float, quantity("mmHg", 0.1, 50, "a set point that moved more has moved", "invented")] = 6.0
    short: Annotated[Again, group("how it is looked for again")] = ShortStaircase()

    def program(self, instrument: Instrument, search: Search, diary: Diary) -> Program:
        """Grow from the shortest to the longest interval, shrink on a move."""
        interval = float(self.shortest)

        def following(moved_mmHg: float) -> float:
            nonlocal interval
            if moved_mmHg != moved_mmHg:  # a whole search: start anew
                interval = float(self.shortest)
            elif abs(moved_mmHg) <= self.moved_mmHg:
                interval = min(interval * self.growth, float(self.longest))
            else:
                interval = max(interval / (2.0 * self.growth), float(self.shortest))
            return interval

        return (yield from repeated(instrument, search, diary, self.short, following))


class ByClock(NamedTuple):
    """A short staircase every so many seconds."""

    every_s: Annotated[float, quantity("s", 5, 86400, "time between two staircases", "invented")] = 120.0
    short: Annotated[Again, group("how it is looked for again")] = ShortStaircase()

    def program(self, instrument: Instrument, search: Search, diary: Diary) -> Program:
        """By the clock, whatever the heart does."""
        return (yield from repeated(
            instrument, search, diary, self.short, lambda moved: float("inf"), every_s=self.every_s))


class OnSigns(NamedTuple):
    """A short staircase when the clamp itself shows that something has changed, or at last after a long time."""

    noise_change: Annotated[
        float, quantity("1", 0.01, 2, "relative change of the loop noise that counts", "invented")
    ] = 0.12
    residual_change: Annotated[
        float, quantity("1", 0.01, 2, "relative change of the residual light pulsation that counts", "invented")
    ] = 0.3
    at_last_s: Annotated[float, quantity("s", 10, 86400, "longest time without a staircase", "invented")] = 600.0
    short: Annotated[Again, group("how it is looked for again")] = WideLooks()

    def program(self, instrument: Instrument, search: Search, diary: Diary) -> Program:
        """Watch the signs, look when they change."""

        def alarming(now: Signs, reference: Signs) -> str:
            noise = now.loop_noise / max(reference.loop_noise, 1e-12) - 1.0
            if abs(noise) > self.noise_change:
                return f"loop noise changed by {100 * noise:+.0f} %"
            residual = now.residual / max(reference.residual, 1e-12) - 1.0
            if abs(residual) > self.residual_change:
                return f"residual light pulsation changed by {100 * residual:+.0f} %"
            return ""

        return (yield from repeated(
            instrument, search, diary, self.short, lambda moved: float("inf"), self.at_last_s, alarming))


def repeated(
    instrument: Instrument, search: Search, diary: Diary, short: Again, interval: Callable[[float], float],
    every_s: float = float("inf"), alarming: Callable[[Signs, Signs], str] | None = None,
) -> Program:
    """Search, then clamp and look again by turns. `interval` gives the beats of the next clamp from the last move."""
    why, moved = "start", float("nan")
    while True:
        found = yield from find(instrument, search, diary, why)
        if isinstance(found, Failed):
            return found
        moved = float("nan")
        while True:
            beats, reason = yield from stretch(instrument, found, diary, interval(moved), every_s, alarming)
            if beats is None:
                why = reason
                break
            again = yield from keep_time(short.repeat(instrument, found, beats), instrument, diary)
            if isinstance(again, Failed):
                diary.note("failed", float("nan"), again.message)
                why = again.message
                break
            found, moved = again
            diary.note("recalibration", moved, reason)


def stretch(
    instrument: Instrument, found: Found, diary: Diary, most_beats: float, most_s: float,
    alarming: Callable[[Signs, Signs], str] | None,
) -> Stretch:
    """Clamp until so many beats or seconds have passed or a sign alarms: (its last beats, why it ended).

    Without beats in two looks running the pulse is lost.
    """
    yield from timed(quiet_clamp(found, ENTER_s), instrument, diary)
    count, seconds, without = 0.0, ENTER_s, 0
    reference: Signs | None = None
    before: Signs | None = None
    look_s = LOOK_s
    while True:
        seen = yield from timed(quiet_clamp(found, look_s), instrument, diary)
        beats = beats_in(seen.reading_mmHg, instrument.period_s)
        seconds += look_s
        without = 0 if beats else without + 1
        if without >= 2:
            return None, "no beats in the clamp"
        if beats is None:
            look_s = LOOK_s  # a short one may have missed the second beat of a heart that has become slower
            continue
        count += beats.number
        if count >= most_beats:
            return beats, f"after {count:.0f} beats"
        if seconds >= most_s:
            return beats, f"after {seconds:.0f} s"
        if alarming is not None:
            signs = signs_of(seen, found, beats, instrument)
            if reference is None:
                reference = signs
            elif before is not None and (reason := alarming(signs.with_previous(before), reference)):
                return beats, reason
            before = signs
        least_s = max(1.5, 2.0 * beats.period_s + 0.4)  # long enough for two whole upstrokes
        look_s = min(LOOK_s, max((most_beats - count) * beats.period_s, least_s), max(most_s - seconds, least_s))
