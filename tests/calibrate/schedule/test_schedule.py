"""What all schedules share: the diary's clock, beats in a reading, repeated searches."""
from collections.abc import Callable
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.protocol import Clamp, Failed, Found, Hold, Instrument, Plan, Request, Vent
from calibrate.schedule.schedule import (
    PATIENCE,
    Diary,
    LONGEST_REST_s,
    REST_s,
    beats_in,
    find,
    keep_time,
    quiet_clamp,
    timed,
)


@pytest.mark.parametrize("rate", [40.0, 55.0, 75.0, 100.0, 125.0, 150.0])
@pytest.mark.parametrize("seconds", [5.0, 7.3])
@pytest.mark.parametrize("drift", [0.0, 2.0])
def test_beats_are_counted(pulse: Callable[..., np.ndarray], rate: float, seconds: float, drift: float) -> None:
    ticks = round(seconds * 1000)
    beats = beats_in(70.0 + 50.0 * pulse(ticks, 123, 60.0 / rate) + drift * np.arange(ticks) * 0.001, 0.001)
    assert beats is not None
    assert beats.period_s == pytest.approx(60.0 / rate, rel=0.03)
    assert beats.number == pytest.approx(seconds * rate / 60.0, rel=0.03)
    middle = 0.5 * drift * seconds
    assert beats.systolic_mmHg == pytest.approx(120.0 + middle, abs=3.0)
    assert beats.diastolic_mmHg == pytest.approx(70.0 + middle, abs=4.0)
    assert beats.diastolic_mmHg < beats.mean_mmHg < beats.systolic_mmHg


@given(st.floats(-40.0, 100.0), st.floats(0.3, 2.0))
def test_beats_move_with_the_reading(pulse: Callable[..., np.ndarray], shift: float, scale: float) -> None:
    reading = 45.0 * pulse(5000)
    plain, other = beats_in(reading, 0.001), beats_in(shift + scale * reading, 0.001)
    assert plain is not None and other is not None
    assert other.period_s == pytest.approx(plain.period_s) and other.number == pytest.approx(plain.number)
    for one, two in zip(plain[2:], other[2:], strict=True):
        assert two == pytest.approx(shift + scale * one, abs=1e-6)


@pytest.mark.parametrize("reading", [np.full(5000, 90.0), np.linspace(120.0, 60.0, 5000), np.full(100, 90.0)])
def test_a_flat_reading_has_no_beats(reading: np.ndarray) -> None:
    assert beats_in(reading, 0.001) is None


@pytest.mark.parametrize("request_", [Vent(0.07), Hold(60.0, 1.23), Clamp(0.5, 0.003, 5.0)])
def test_the_clock_counts_the_ticks_asked(finger: Any, instrument: Instrument, request_: Request) -> None:
    diary = Diary()
    seen = finger.answer(request_, 0)
    step = timed(request_, instrument, diary)
    assert next(step) == request_ and diary.time_s == 0.0  # not before the ticks are over
    with pytest.raises(StopIteration) as end:
        step.send(seen)
    assert end.value.value is seen
    assert diary.time_s == pytest.approx(len(seen.light) * instrument.period_s)


def test_another_plan_runs_within_the_clock(drive: Callable[..., Any], finger: Any, instrument: Instrument) -> None:
    """Requests, answers and outcome go through unchanged."""
    requests: list[Request] = [Hold(50.0, 1.0), Clamp(0.5, 0.003, 2.5), Vent(0.4)]

    def plan() -> Any:
        got = []
        for request in requests:
            got.append((yield request))
        return got

    diary = Diary()
    run = drive(keep_time(plan(), instrument, diary), finger)
    assert run.asked == requests
    assert all(a is b for a, b in zip(run.outcome, run.seen, strict=True))
    assert diary.time_s == pytest.approx(run.seconds)


class Failing(NamedTuple):
    """A search that fails so many times, then finds."""

    failures: int
    calls: list[int]

    def search(self, instrument: Instrument) -> Plan:
        yield Hold(40.0, 1.0)
        self.calls.append(1)
        if len(self.calls) <= self.failures:
            return Failed("no pulse", f"the {len(self.calls)}.")
        return Found(0.5, 0.003, 90.0, 1.0)


@pytest.mark.parametrize("failures", range(PATIENCE + 2))
def test_a_search_that_fails_is_repeated_with_the_cuff_vented(
    drive: Callable[..., Any], finger: Any, instrument: Instrument, failures: int
) -> None:
    """It rests, longer each time, lets the air out, and tries again; at last it ends in the failure of the last."""
    diary, search = Diary(), Failing(failures, [])
    run = drive(find(instrument, search, diary, "start"), finger)
    tries = min(failures + 1, PATIENCE)
    assert len(search.calls) == tries
    asked = [r for r in run.asked if not (isinstance(r, Hold) and r.pressure_mmHg < 20.0)]
    starts = [k for k, r in enumerate(asked) if isinstance(r, Hold)]
    assert len(starts) == tries
    rests: list[float] = []
    for before, after in pairwise(starts):
        between = asked[before + 1 : after]
        assert between and all(isinstance(r, Vent) for r in between)
        rests.append(sum(r.seconds for r in between))
    assert all(rest >= REST_s for rest in rests) and rests == sorted(rests)
    assert all(rest < LONGEST_REST_s + 2.0 * REST_s for rest in rests)
    found = failures < PATIENCE
    assert [e.what for e in diary.entries] == ["failed"] * min(failures, PATIENCE) + ["search"] * found
    assert isinstance(run.outcome, Found if found else Failed)
    if not found:
        assert run.outcome.reason == "no pulse" and run.outcome.seen == f"the {PATIENCE}."
    assert diary.time_s == pytest.approx(run.seconds)


def test_a_search_in_the_middle_of_a_run_starts_from_an_empty_cuff(
    drive: Callable[..., Any], finger: Any, instrument: Instrument
) -> None:
    run = drive(find(instrument, Failing(0, []), Diary(time_s=60.0), "lost"), finger)
    assert isinstance(run.asked[0], Vent)


def test_a_note_bears_the_time() -> None:
    diary = Diary(time_s=12.5)
    diary.note("alarm", 1.0, "why")
    assert diary.entries == [(12.5, "alarm", 1.0, "why")]


def test_a_quiet_clamp_adds_nothing() -> None:
    assert quiet_clamp(Found(0.5, 0.003, 90.0, 1.0), 5.0) == Clamp(0.5, 0.003, 5.0, 0.0, 0.0, True)
