"""The schedule that never interrupts: its filter, and fingers whose tone rises."""
import math
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
import pytest

from calibrate.protocol import Found, Hold, Instrument, Plan
from calibrate.schedule.display import shown_waveform
from calibrate.schedule.schedule import Diary
from calibrate.schedule.steady_probing import SteadyProbing
from calibrate.search.probing_search import ProbingSearch
from experiments.rigs.rig import Rig
from experiments.simulation.session import OutOfTime, Session
from plant.assembly import Inputs
from plant.finger.artery import unloaded_pressure
from plant.pressure.synthetic import SyntheticPressure, synthesise

USUAL = SteadyProbing()


# --- on a finger that obeys the law -----------------------------------------------------------------------------


class Ready(NamedTuple):
    """A search that knows already."""

    found: Found

    def search(self, instrument: Instrument) -> Plan:
        yield Hold(90.0, 0.5)
        return self.found


def probed(
    drive: Callable[..., Any], finger: Any, instrument: Instrument, at: Callable[[float], Any], seconds: float,
    tuning: SteadyProbing = USUAL,
) -> tuple[Diary, Any]:
    found = Found(finger.set_point, finger.relative_slope * finger.set_point, 85.0, 1.0, finger.width_mmHg)
    diary = Diary()
    run = drive(tuning.program(instrument, Ready(found), diary), at, instrument, seconds)
    return diary, run


@pytest.mark.parametrize("rate_mmHg_s", [-0.15, 0.15])
def test_a_set_point_that_creeps_is_followed(
    drive: Callable[..., Any], finger: Any, instrument: Instrument, rate_mmHg_s: float
) -> None:
    """18 mmHg in two minutes: hardly a mmHg behind, every moment shown."""
    own = finger._replace(noise=2e-5)

    def at(time_s: float) -> Any:
        return own._replace(bright=own.bright * math.exp(rate_mmHg_s * time_s * own.relative_slope))

    diary, run = probed(drive, own, instrument, at, 120.0)
    assert [e.what for e in diary.entries] == ["search"]
    assert all(c.shown for c in run.clamps) and len(run.clamps) > 40
    times = [t for t, r in zip(run.times_s, run.asked, strict=True) if not isinstance(r, Hold)]
    errors = [at(t).error_mmHg(c.set_point) for t, c in zip(times, run.clamps, strict=True)]
    assert max(np.abs(errors)) < 2.0 and max(np.abs(errors[20:])) < 1.0


def test_a_set_point_that_waves_is_followed_and_what_is_shown_goes_with_it(
    drive: Callable[..., Any], finger: Any, instrument: Instrument
) -> None:
    """Ten mmHg up and down in ten seconds; half a minute to learn it."""
    own = finger._replace(noise=2e-5)

    def at(time_s: float) -> Any:
        level = 10.0 * math.sin(2.0 * math.pi * 0.1 * time_s)
        return own._replace(bright=own.bright * math.exp(level * own.relative_slope))

    diary, run = probed(drive, own, instrument, at, 120.0)
    assert [e.what for e in diary.entries] == ["search"]
    times = [t for t, r in zip(run.times_s, run.asked, strict=True) if not isinstance(r, Hold)]
    errors = [at(t).error_mmHg(c.set_point) for t, c in zip(times, run.clamps, strict=True)]
    assert np.sqrt(np.mean(np.square(errors[40:]))) < 3.0
    moved = [float(np.ptp(c.course_mmHg)) for c in run.clamps[40:]]
    assert 4.0 < max(moved) < 12.0  # most of it while it passes the middle: 8 mmHg in a look


@pytest.mark.parametrize("step", [-10.0, 10.0])
@pytest.mark.parametrize("far_mmHg", [2.0, 50.0])
def test_after_a_jump_it_comes_back(
    drive: Callable[..., Any], finger: Any, instrument: Instrument, step: float, far_mmHg: float
) -> None:
    """By its own looks where nothing counts as far; by wide looks, which the diary tells, where little does."""
    own = finger._replace(noise=2e-5)
    other = own._replace(bright=own.bright * math.exp(step * own.relative_slope))
    tuning = USUAL._replace(far_mmHg=far_mmHg)
    diary, run = probed(drive, own, instrument, lambda t: own if t < 30.0 else other, 80.0, tuning)
    again = [e for e in diary.entries if e.what == "recalibration"]
    assert len(again) == (1 if far_mmHg == 2.0 else 0) and len(diary.entries) == 1 + len(again)
    assert all(30.0 < e.time_s < 70.0 and "twice" in e.why for e in again)
    assert any(not c.shown for c in run.clamps) == bool(again)
    assert abs(other.error_mmHg(run.clamps[-1].set_point)) < 1.0 < abs(other.error_mmHg(own.set_point))


def test_a_clamp_without_a_slope_ends_in_a_new_search(
    drive: Callable[..., Any], finger: Any, instrument: Instrument
) -> None:
    deaf = finger._replace(loop_error=0.1)
    diary, _ = probed(drive, finger, instrument, lambda t: finger if t < 30.0 else deaf, 70.0)
    searches = [e for e in diary.entries if e.what == "search"]
    assert len(searches) > 1 and searches[1].time_s > 30.0 and "slope" in searches[1].why


# --- on the wrist rig -------------------------------------------------------------------------------------------


def test_a_constricting_finger_is_followed_without_interruption(wrist: tuple[Rig, Instrument]) -> None:
    rig, instrument = wrist
    trace = synthesise(SyntheticPressure(), 0.001, 110.0, 2)
    ticks = len(trace.pressure_mmHg)
    tone = np.clip((np.arange(ticks) * 0.001 - 35.0) / 60.0, 0.0, 1.0) * 0.6
    session = Session(rig, Inputs(trace.pressure_mmHg, tone, np.full(ticks, rig.plant.light.ambient)), 1, 5)
    diary, shown = Diary(), []
    program = SteadyProbing().program(instrument, ProbingSearch(), diary)
    request = next(program)
    with pytest.raises(OutOfTime):
        while True:
            answer = session.ask(request, instrument)
            shown.append(shown_waveform(request, answer, instrument))
            request = program.send(answer)
    assert [e.what for e in diary.entries] == ["search"]
    wave = np.concatenate(shown)
    p0 = np.asarray(unloaded_pressure(rig.plant.artery, tone[: len(wave)]))  # type: ignore[arg-type]
    error = wave - (trace.pressure_mmHg[: len(wave)] - p0)
    start = round(diary.entries[0].time_s * 1000)
    assert start < 35_000 and np.all(np.isfinite(wave[start:]))
    slow = np.mean(error[40_000 : len(error) // 5000 * 5000].reshape(-1, 5000), axis=1)
    assert np.max(np.abs(slow)) < 3.0
