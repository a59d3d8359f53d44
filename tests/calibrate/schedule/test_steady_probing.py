"""The schedule that never interrupts: its filter, and fingers whose tone rises."""
import math
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.protocol import Found, Hold, Instrument, Plan
from calibrate.schedule.display import shown_waveform
from calibrate.schedule.schedule import Diary
from calibrate.schedule.steady_probing import SteadyProbing, Track
from calibrate.search.probing import Vertex
from calibrate.search.probing_search import SPREAD, FLOOR_mmHg, ProbingSearch
from experiments.rigs.rig import Rig
from experiments.simulation.session import OutOfTime, Session
from plant.assembly import Inputs
from plant.finger.artery import unloaded_pressure
from plant.pressure.synthetic import SyntheticPressure, synthesise

START = Track.at(Found(0.5, 0.0025, 90.0, 1.0, 15.0))
TUNING = SteadyProbing()


def seen(track: Track, offset_mmHg: float, sd: float = 0.3) -> Vertex:
    """A look whose vertex lies so far from where the track stands; its sweep spans 3 mmHg."""
    depth = track.depth + offset_mmHg * track.relative_slope
    return Vertex(depth, track.relative_slope, 15.0, sd, 0.02, track.depth, 3.0 * track.relative_slope)


def drifting(per_look_mmHg: float, looks: int, tuning: SteadyProbing = TUNING) -> tuple[Track, float]:
    """A track after looks at a vertex that moves steadily, and where the vertex is [optical depth]."""
    track, truth = START, START.depth
    for _ in range(looks):
        truth += per_look_mmHg * START.relative_slope
        track = track.see(seen(track, (truth - track.depth) / track.relative_slope), tuning)
    return track, truth


def test_a_track_starts_where_the_search_ended() -> None:
    assert math.exp(-START.depth) == pytest.approx(0.5) and START.relative_slope == pytest.approx(0.005)
    assert START.drift == 0.0 and START.level_variance == 1.0
    assert START.mark().depth == START.depth and START.mark().variance >= START.level_variance


@given(st.floats(-6.0, 6.0), st.floats(0.01, 10.0))
def test_the_gain_is_between_none_and_all(offset: float, sd: float) -> None:
    """One look moves the level towards its vertex, never past it."""
    after = START.see(seen(START, offset, sd), TUNING)
    moved = (after.depth - START.depth) / START.relative_slope
    assert 0.0 <= moved * math.copysign(1.0, offset) <= abs(offset) + 1e-9
    assert moved * math.copysign(1.0, offset) > 0.0 or abs(offset) < 1e-6
    assert 0.0 < after.level_variance < START.level_variance + TUNING.restless_mmHg**2 + START.drift_variance
    assert after.drift_variance > 0.0
    assert after.joint_variance**2 <= after.level_variance * after.drift_variance * (1.0 + 1e-9)


@given(st.floats(-200.0, 200.0))
def test_no_look_moves_it_beyond_its_reach(offset: float) -> None:
    after = START.see(seen(START, offset), TUNING)
    assert abs(after.depth - START.depth) <= 2.0 * 3.0 * START.relative_slope + 1e-9


def test_a_surer_look_moves_more() -> None:
    moves = [START.see(seen(START, 3.0, sd), TUNING).depth - START.depth for sd in (0.1, 1.0, 5.0)]
    assert np.all(np.diff(moves) < 0.0)


@pytest.mark.parametrize("rate", [-0.5, 0.4])
def test_a_steady_drift_is_learnt_and_followed_without_a_lag(rate: float) -> None:
    track, truth = drifting(rate, 60)
    assert track.drift / track.relative_slope == pytest.approx(rate, rel=0.2)
    lag = abs(truth + rate * START.relative_slope - track.depth - track.drift) / track.relative_slope
    assert lag < 0.2 * abs(rate)


def test_a_filter_without_drift_would_trail_behind() -> None:
    """What the second state is for: the same tuning, turning nearly forbidden."""
    stiff = TUNING._replace(turning_mmHg=0.001)
    error = [abs(truth - track.depth) for track, truth in (drifting(0.5, 12), drifting(0.5, 12, stiff))]
    assert error[0] < error[1]


def test_a_still_vertex_leaves_the_track_where_it_is() -> None:
    track, _ = drifting(0.0, 40)
    assert track.depth == pytest.approx(START.depth) and track.drift == pytest.approx(0.0, abs=1e-12)
    assert drifting(0.0, 80)[0].level_variance == pytest.approx(track.level_variance, rel=0.01)  # and is as sure


def test_coasting_knows_less_and_slows_down() -> None:
    moving = START._replace(drift=0.01)
    after = moving.coast(TUNING)
    assert 0.0 < after.drift < moving.drift and after.level_variance > moving.level_variance
    assert after.depth == moving.depth or abs(after.depth - moving.depth) <= moving.drift


# --- on a finger that obeys the law -----------------------------------------------------------------------------


class Ready(NamedTuple):
    """A search that knows already."""

    found: Found

    def search(self, instrument: Instrument) -> Plan:
        yield Hold(90.0, 0.5)
        return self.found


def probed(
    drive: Callable[..., Any], finger: Any, instrument: Instrument, at: Callable[[float], Any], seconds: float,
    tuning: SteadyProbing = TUNING,
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


@pytest.mark.parametrize("step", [-10.0, 10.0])
@pytest.mark.parametrize("far_mmHg", [2.0, 50.0])
def test_after_a_jump_it_comes_back(
    drive: Callable[..., Any], finger: Any, instrument: Instrument, step: float, far_mmHg: float
) -> None:
    """By its own looks where nothing counts as far; by wide looks, which the diary tells, where little does."""
    own = finger._replace(noise=2e-5)
    other = own._replace(bright=own.bright * math.exp(step * own.relative_slope))
    tuning = TUNING._replace(far_mmHg=far_mmHg)
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


@given(st.floats(0.1, 9.0), st.floats(-0.9, 0.9), st.floats(0.01, 4.0), st.floats(0.05, 5.0), st.floats(-5.0, 5.0))
def test_a_look_is_one_step_of_kalmans_filter(
    level: float, correlation: float, drift: float, sd: float, offset: float
) -> None:
    """In matrices (Kalman 1960): x' = F x, P' = F P Fᵀ + Q, K = P' Hᵀ/(H P' Hᵀ + R), P = (1 − K H) P'."""
    joint = correlation * math.sqrt(level * drift)
    track = START._replace(drift=0.002, level_variance=level, joint_variance=joint, drift_variance=drift)
    after = track.see(seen(track, offset, sd), TUNING)
    forward, sees = np.array([[1.0, 1.0], [0.0, 1.0]]), np.array([[1.0, 0.0]])
    before = np.array([[level, joint], [joint, drift]])
    before = forward @ before @ forward.T + np.diag([TUNING.restless_mmHg**2, TUNING.turning_mmHg**2])
    gain = before @ sees.T / (before[0, 0] + (SPREAD * sd) ** 2 + FLOOR_mmHg**2)
    left = (np.eye(2) - gain @ sees) @ before
    assert [after.level_variance, after.joint_variance, after.drift_variance] == pytest.approx(
        [left[0, 0], left[0, 1], left[1, 1]], rel=1e-9, abs=1e-12)
    expected = forward @ np.array([track.depth, track.drift])
    moved = expected + gain[:, 0] * (track.depth + offset * track.relative_slope - expected[0])
    assert [after.depth, after.drift] == pytest.approx(list(moved), rel=1e-9, abs=1e-12)
