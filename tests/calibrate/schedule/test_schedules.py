"""When the interrupting schedules interrupt, on a clamp that shows steady beats."""
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
import pytest

from calibrate.protocol import Clamp, Failed, Found, Hold, Instrument, Plan, Seen
from calibrate.schedule.recalibration import ShortStaircase
from calibrate.schedule.schedule import Diary, Schedule
from calibrate.schedule.schedules import ByClock, EveryBeats, GrowingBeats, LOOK_s, Never, OnSigns

LOOP_ERROR = 3e-5  # SD of the light in a steady clamp
SHORT = ShortStaircase()


class Ready(NamedTuple):
    """A search that knows already."""

    found: Found

    def search(self, instrument: Instrument) -> Plan:
        yield Hold(90.0, 0.5)
        return self.found


class Ran(NamedTuple):
    """Diary and requests of a schedule."""

    diary: Diary
    run: Any

    @property
    def again(self) -> list[float]:
        """Times of recalibrations."""
        return [e.time_s for e in self.diary.entries if e.what == "recalibration"]

    @property
    def stretches(self) -> list[float]:
        """Seconds of clamp before each recalibration."""
        lengths, length = [], 0.0
        for request in self.run.asked:
            if isinstance(request, Clamp):
                length += request.seconds
            elif length > 0.0:
                lengths.append(length)
                length = 0.0
        return lengths


@pytest.fixture(scope="session")
def run(drive: Callable[..., Any], finger: Any, instrument: Instrument) -> Callable[..., Ran]:
    """`run(schedule, seconds, finger or finger by time)`."""
    def ran(schedule: Schedule, seconds: float, given: Any = None) -> Ran:
        own = given if given is not None else finger._replace(loop_error=LOOP_ERROR)
        first = own(0.0) if callable(own) else own
        found = Found(first.set_point, first.relative_slope * first.set_point, 85.0, 1.0, first.width_mmHg)
        diary = Diary()
        driven = drive(schedule.program(instrument, Ready(found), diary), own, instrument, seconds)
        assert all(r.shown for r in driven.clamps)
        return Ran(diary, driven)
    return ran


ALL = [Never(), EveryBeats(beats=20), GrowingBeats(), ByClock(every_s=30.0), OnSigns(short=SHORT)]


@pytest.mark.parametrize("schedule", ALL, ids=lambda s: type(s).__name__)
def test_the_clock_of_the_diary_is_that_of_the_ticks(run: Callable[..., Ran], schedule: Schedule) -> None:
    ran = run(schedule, 120.0)
    assert ran.diary.time_s == pytest.approx(ran.run.seconds, abs=1e-6)
    assert [e.what for e in ran.diary.entries].count("search") == 1
    assert [e.time_s for e in ran.diary.entries] == sorted(e.time_s for e in ran.diary.entries)


def test_never_is_never(run: Callable[..., Ran]) -> None:
    ran = run(Never(), 200.0)
    assert ran.again == [] and ran.run.holds == [90.0]


@pytest.mark.parametrize("beats", [10, 40])
@pytest.mark.parametrize("beat_s", [0.4, 0.8, 1.5])
def test_every_so_many_beats(run: Callable[..., Ran], finger: Any, beats: int, beat_s: float) -> None:
    """At any rate, counted in beats; a look may end a few seconds late, never early by more than one beat."""
    ran = run(EveryBeats(beats=beats), 250.0, finger._replace(loop_error=LOOP_ERROR, beat_s=beat_s))
    assert len(ran.stretches) >= 2
    for seconds in ran.stretches:
        assert (beats - 1) * beat_s <= seconds <= beats * beat_s + LOOK_s + 1.0


@pytest.mark.parametrize("every_s", [20.0, 52.0])
@pytest.mark.parametrize("beat_s", [0.4, 0.8, 1.5])
def test_by_the_clock(run: Callable[..., Ran], finger: Any, every_s: float, beat_s: float) -> None:
    """Whatever the heart does."""
    ran = run(ByClock(every_s=every_s), 200.0, finger._replace(loop_error=LOOP_ERROR, beat_s=beat_s))
    assert len(ran.stretches) >= 2
    assert all(every_s <= s <= every_s + LOOK_s for s in ran.stretches)


@pytest.mark.parametrize("beat_s", [1.0, 1.2, 1.3, 1.4, 1.5])
@pytest.mark.parametrize("schedule", [EveryBeats(beats=40), GrowingBeats(), ByClock(every_s=52.0)],
                         ids=lambda s: type(s).__name__)
def test_a_slow_heart_is_not_a_lost_pulse(
    run: Callable[..., Ran], finger: Any, schedule: Schedule, beat_s: float
) -> None:
    ran = run(schedule, 400.0, finger._replace(loop_error=LOOP_ERROR, beat_s=beat_s))
    assert [e.what for e in ran.diary.entries].count("search") == 1 and len(ran.again) >= 4


def test_a_pulse_that_goes_calls_for_a_new_search(run: Callable[..., Ran], finger: Any) -> None:
    own = finger._replace(loop_error=LOOP_ERROR)
    gone = own._replace(pulse_mmHg=0.0, diastolic_mmHg=90.0)
    ran = run(Never(), 60.0, lambda t: own if t < 30.0 else gone)
    why = [e.why for e in ran.diary.entries if e.what == "search"]
    assert why[0] == "start" and len(why) > 1 and "no beats" in why[1]
    assert 30.0 < next(e.time_s for e in ran.diary.entries if e.why == why[1]) < 50.0


# --- intervals that grow ----------------------------------------------------------------------------------------


def test_a_move_undoes_the_last_growth_and_halves_the_rest(
    monkeypatch: pytest.MonkeyPatch, instrument: Instrument, finger: Any
) -> None:
    """10 beats, by 1.5 up to 70 (common practice, a check value only); 6 mmHg are no move, more of either sign makes a
    third of it, never less than the first.
    """
    following: Callable[[float], float] = None  # type: ignore[assignment]

    def keep(*given: Any) -> Any:
        nonlocal following
        following = given[4]
        yield Hold(90.0, 0.5)

    monkeypatch.setattr("calibrate.schedule.schedules.repeated", keep)
    schedule = GrowingBeats(10, 70, growth=1.5, moved_mmHg=6.0)
    for big in (6.5, -6.5):
        next(schedule.program(instrument, Ready(Found(0.5, 0.0025, 90.0, 1.0, 15.0)), Diary()))
        asked = [float("nan"), 0.0, 6.0, -6.0, 1.0, -1.0, big, big, big]
        assert [following(moved) for moved in asked] == pytest.approx(
            [10.0, 15.0, 22.5, 33.75, 50.625, 70.0, 70.0 / 3.0, 10.0, 10.0])
        assert [following(0.0), following(float("nan"))] == [15.0, 10.0]


def test_intervals_grow_while_the_set_point_stays(run: Callable[..., Ran]) -> None:
    schedule = GrowingBeats()
    beats = np.array(run(schedule, 400.0).stretches) / 0.8
    assert beats[0] == pytest.approx(schedule.shortest, abs=LOOK_s / 0.8)
    assert np.all(np.diff(beats[:4]) > 0.0)
    assert beats[-1] == pytest.approx(schedule.longest, abs=LOOK_s / 0.8 + 1.0)


def moving(finger: Any, step_mmHg: float, from_s: float) -> Callable[[float], Any]:
    """From some time on the light level of the unloaded artery swings by so many mmHg, once in two minutes."""
    own = finger._replace(loop_error=LOOP_ERROR)

    def at(time_s: float) -> Any:
        side = 0.0 if time_s < from_s else float(np.sin(2.0 * np.pi * (time_s - from_s) / 120.0))
        return own._replace(bright=own.bright * float(np.exp(side * step_mmHg * own.relative_slope)))
    return at


def test_intervals_shrink_after_a_move(run: Callable[..., Ran], finger: Any) -> None:
    """Quiet for 250 s, then the right level swings by 12 mmHg: shorter intervals, and moves of both signs are seen."""
    schedule = GrowingBeats()
    still = run(schedule, 400.0)
    ran = run(schedule, 700.0, moving(finger, 12.0, 250.0))
    moves = [(e.time_s, e.moved_mmHg) for e in ran.diary.entries if e.what == "recalibration"]
    first = next(k for k, (_, moved) in enumerate(moves) if abs(moved) > schedule.moved_mmHg)
    assert moves[first][0] > 250.0
    before, after = ran.stretches[first], ran.stretches[first + 1]
    assert after < 0.7 * before
    assert min(ran.stretches[first:]) < 0.6 * still.stretches[-1]
    assert min(m for _, m in moves) < -schedule.moved_mmHg and max(m for _, m in moves) > schedule.moved_mmHg


def test_a_recalibration_brings_the_set_point_back(run: Callable[..., Ran], finger: Any) -> None:
    """The light's level jumps by 10 mmHg; the clamp after the next short staircase is within 2 mmHg of the truth."""
    own = finger._replace(loop_error=LOOP_ERROR)
    for step in (-10.0, 10.0):
        other = own._replace(bright=own.bright * float(np.exp(step * own.relative_slope)))
        ran = run(EveryBeats(beats=20), 70.0, lambda t, other=other: own if t < 25.0 else other)
        late = ran.run.clamps[-1].set_point
        assert abs(other.error_mmHg(late)) < 2.0 < abs(other.error_mmHg(own.set_point))
        moved = next(e.moved_mmHg for e in ran.diary.entries if e.what == "recalibration" and e.time_s > 28.0)
        assert moved == pytest.approx(step, abs=5.0)  # a brighter light lets the cuff fall, so it must go up again


# --- signs ------------------------------------------------------------------------------------------------------


def residual(size: float) -> Callable[[Seen], Seen]:
    """A pulse left in the light of the clamp, of so much light."""
    def added(seen: Seen) -> Seen:
        return seen._replace(light=seen.light + size * (seen.reading_mmHg - np.mean(seen.reading_mmHg)))
    return added


def test_signs_are_silent_on_steady_beats(run: Callable[..., Ran]) -> None:
    assert run(OnSigns(short=SHORT), 300.0).again == []


def test_at_last_it_looks_all_the_same(run: Callable[..., Ran]) -> None:
    ran = run(OnSigns(short=SHORT, at_last_s=60.0), 200.0)
    assert ran.stretches and all(60.0 <= s <= 60.0 + LOOK_s for s in ran.stretches)


@pytest.mark.parametrize("change", [0.6, 1.5])
def test_changed_loop_noise_calls(run: Callable[..., Ran], finger: Any, change: float) -> None:
    quiet, other = (finger._replace(loop_error=LOOP_ERROR * k) for k in (1.0, change))
    ran = run(OnSigns(short=SHORT), 120.0, lambda t: quiet if t < 60.0 else other)
    assert ran.again and 60.0 < ran.again[0] < 90.0
    assert "loop noise" in next(e.why for e in ran.diary.entries if e.what == "recalibration")


class Leaking(NamedTuple):
    """A finger whose clamp leaves some of the pulse in the light."""

    own: Any
    share: float  # light per mmHg of reading

    set_point = property(lambda self: self.own.set_point)
    relative_slope = property(lambda self: self.own.relative_slope)
    width_mmHg = property(lambda self: self.own.width_mmHg)

    def answer(self, request: Any, start: int, instrument: Instrument) -> Seen:
        seen: Seen = self.own.answer(request, start, instrument)
        return residual(self.share)(seen) if isinstance(request, Clamp) else seen


@pytest.mark.parametrize("change", [0.5, 2.0])
def test_a_changed_residual_calls(run: Callable[..., Ran], finger: Any, change: float) -> None:
    leaking = Leaking(finger._replace(loop_error=LOOP_ERROR), 1e-4)
    ran = run(OnSigns(short=SHORT), 120.0, lambda t: leaking if t < 60.0 else leaking._replace(share=1e-4 * change))
    assert ran.again and 60.0 < ran.again[0] < 90.0
    assert "residual" in next(e.why for e in ran.diary.entries if e.what == "recalibration")


def test_a_search_that_cannot_succeed_ends_the_program(
    drive: Callable[..., Any], finger: Any, instrument: Instrument
) -> None:
    class Hopeless(NamedTuple):
        def search(self, instrument: Instrument) -> Plan:
            yield Hold(90.0, 0.5)
            return Failed("cuff too loose", "as it is")

    for schedule in ALL:
        run = drive(schedule.program(instrument, Hopeless(), Diary()), finger)
        assert isinstance(run.outcome, Failed) and run.outcome.reason == "cuff too loose"
        assert not run.clamps
