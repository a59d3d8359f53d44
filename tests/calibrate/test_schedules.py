"""When the interrupting schedules interrupt, on a clamp that shows steady beats."""
from typing import NamedTuple

import numpy as np
import pytest

from calibrate.protocol import Clamp, Found, Hold, Instrument, Plan, Request, Seen
from calibrate.recalibration import ShortStaircase
from calibrate.schedule import Diary, Schedule
from calibrate.schedules import ByClock, EveryBeats, GrowingBeats, Never, OnSigns

INSTRUMENT = Instrument(0.001, 240.0, 2.0**-16, 0.009, 36.0, 1.0 + 0.0j, 2e-5)


class Ready(NamedTuple):
    """A search that knows already."""

    def search(self, instrument: Instrument) -> Plan:
        yield Hold(90.0, 0.5)
        return Found(0.5, 0.003, 90.0, 1.0, 15.0)


def seen(request: Request, start: int, louder: float) -> Seen:
    """Steady beats at 75 a minute; in a hold the light answers by the arctangent law, in a clamp it holds still."""
    ticks = INSTRUMENT.ticks(request.seconds)
    phase = ((np.arange(start, start + ticks)) * 0.001 / 0.8) % 1.0
    pulse = 70.0 + 45.0 * np.where(
        phase < 0.15, np.sin(np.pi * phase / 0.3) ** 2, np.cos(np.pi * (phase - 0.15) / 1.7) ** 2)
    none = np.zeros(ticks)
    if isinstance(request, Hold):
        area = np.arctan((pulse - request.pressure_mmHg) / 15.0) / np.pi
        light = 0.5 * np.exp(-0.003 / 0.5 * np.pi * 15.0 * area)
        return Seen(light, np.full(ticks, request.pressure_mmHg), none, none)
    noise = np.random.default_rng(start).standard_normal(ticks) * 3e-5 * louder
    return Seen(0.5 + noise, pulse, none, none)


def run(schedule: Schedule, seconds: float, louder_from_s: float = 1e9) -> Diary:
    diary = Diary()
    program = schedule.program(INSTRUMENT, Ready(), diary)
    request, tick = next(program), 0
    while diary.time_s < seconds:
        shown = seen(request, tick, 2.0 if diary.time_s > louder_from_s else 1.0)
        tick += len(shown.light)
        request = program.send(shown)
        assert not isinstance(request, Clamp) or request.shown
    return diary


def again(diary: Diary) -> list[float]:
    return [e.time_s for e in diary.entries if e.what == "recalibration"]


def test_never_is_never() -> None:
    assert again(run(Never(), 200.0)) == []


def test_every_so_many_beats() -> None:
    times = again(run(EveryBeats(beats=40), 200.0))
    assert len(times) >= 4 and np.diff(times) == pytest.approx(32.0 + 4.5, abs=4.0)


def test_by_the_clock() -> None:
    times = again(run(ByClock(every_s=50.0), 200.0))
    assert np.diff(times) == pytest.approx(54.0, abs=6.0)


def test_intervals_grow_while_the_set_point_stays() -> None:
    steps = np.diff(again(run(GrowingBeats(), 300.0)))
    assert steps[0] < 0.5 * steps[-1] and steps[-1] < 70 * 0.8 + 12.0


def test_a_sign_calls_and_silence_does_not() -> None:
    short = ShortStaircase()
    assert again(run(OnSigns(short=short), 150.0)) == []
    loud = again(run(OnSigns(short=short), 150.0, louder_from_s=60.0))
    assert loud and 60.0 < loud[0] < 90.0
