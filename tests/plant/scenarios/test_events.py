import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.declare import declared
from plant.scenarios.events import (
    ArmOcclusion,
    Daylight,
    DeepBreaths,
    GRID_s,
    HandMove,
    IrregularRhythm,
    Lamp,
    StandingUp,
    Stimulus,
    Waves,
    course,
    happen,
    hyperaemia,
    narrowing,
    quiet,
    standing_dip,
    wander,
)

PARTS = [Stimulus, Waves, DeepBreaths, HandMove, StandingUp, ArmOcclusion, IrregularRhythm, Lamp, Daylight]
COLD = Stimulus("cold", 0.25, 0.5, 1.0, 12.0, 6.0, 60.0, 100.0, 30.0, 50.0)


@pytest.mark.parametrize("part", PARTS)
def test_every_parameter_is_declared(part):
    """Every parameter says what it means and where its default comes from; numbers have a unit and bounds."""
    for parameter in declared(part):
        assert parameter.meaning and parameter.source
        assert parameter.kind is str or (parameter.unit and parameter.low is not None and parameter.high is not None)


@given(st.builds(DeepBreaths, st.floats(10, 600), st.floats(0.1, 2), st.floats(0, 5), st.floats(0.5, 10),
                 st.floats(1, 60)))
@settings(max_examples=30, deadline=None)
def test_a_deep_breath_narrows_after_its_dead_time_and_most_at_its_peak(event):
    """Nothing before, 1 at the peak, no jump, back by 1/e in its time constant."""
    peak = event.dead_s + event.peak_s
    since = np.array([-1.0, event.dead_s, peak, peak + event.return_s])
    assert narrowing(event, since) == pytest.approx([0.0, 0.0, 1.0, np.exp(-1.0)], abs=1e-12)
    fine = narrowing(event, np.arange(0.0, peak + 30.0, 1e-3))
    steepest = max(np.e / event.peak_s, 1.0 / event.return_s)
    assert np.max(fine) <= 1.0 + 1e-12 and np.max(np.abs(np.diff(fine))) < 1.01e-3 * steepest


def test_deep_breaths_come_at_random_and_in_the_mean_as_often_as_said():
    slow = happen(quiet(18_000.0), DeepBreaths(every_s=60.0, tone=0.4), 18_000.0, 1.0, 5)
    times = np.array([time for time, word in slow.marks if word == "deep breath"])
    assert len(times) == pytest.approx(300, rel=0.07) and np.min(np.diff(times)) >= 30.0 - 1e-9
    assert 0.39 < np.max(slow.tone) <= 0.4 and np.min(slow.tone) == 0.0
    again = happen(quiet(18_000.0), DeepBreaths(every_s=60.0, tone=0.4), 18_000.0, 1.0, 6)
    assert not np.array_equal(again.tone, slow.tone)


def test_quiet_is_quiet():
    slow = quiet(10.0)
    assert slow.time_s[-1] >= 10.0 and np.all(np.diff(slow.time_s) > 0.0)
    assert not np.any(slow.tone) and not np.any(slow.height_m) and np.all(slow.open == 1.0) and slow.marks == []


@pytest.mark.parametrize("seconds", [1200.0, 3600.0])
def test_a_stimulus_rises_and_falls_as_first_order(seconds):
    """1 − e^{−t/τ} from its start and the same back from its end, in closed form, with published constants kept."""
    slow = happen(quiet(seconds), COLD, seconds, 1.0, 1)
    start, end = 0.25 * seconds, 0.5 * seconds
    reached = 1 - np.exp(-(end - start) / 60.0)
    for time, tone in ((start, 0.0), (start + 60, 1 - np.exp(-1)), (end, reached), (end + 100, reached / np.e)):
        assert np.interp(time, slow.time_s, slow.tone) == pytest.approx(tone, abs=1e-3)
    assert slow.systolic_mmHg == pytest.approx(2.0 * slow.diastolic_mmHg)
    assert slow.notes == [] and slow.marks == [(start, "cold begins"), (end, "cold ends")]


def test_a_short_run_tells_the_same_story_and_says_what_it_shortened():
    long, short = (happen(quiet(s), COLD, s, 1.0, 1) for s in (3600.0, 100.0))
    assert [word for _, word in long.marks] == [word for _, word in short.marks]
    assert long.notes == [] and len(short.notes) == 4
    assert "tone, cold, onset: time constant of 60 s shortened to 6.25 s" in short.notes[0]
    assert np.max(short.tone) == pytest.approx(np.max(long.tone), abs=0.03)
    assert short.tone[-1] < 0.05


def test_size_scales_pressure_and_not_tone():
    one, two = (happen(quiet(600.0), COLD, 600.0, size, 1) for size in (1.0, 1.5))
    assert two.systolic_mmHg == pytest.approx(1.5 * one.systolic_mmHg) and np.array_equal(one.tone, two.tone)


def test_a_course_without_end_stays():
    slow = quiet(500.0)
    share = course(slow, 500.0, 0.2, 1.0, 20.0, 1.0, "warmth")
    assert share[0] == 0.0 and share[-1] == pytest.approx(1.0, abs=1e-6) and np.all(np.diff(share) >= 0.0)


@given(st.floats(2, 20))
@settings(max_examples=20)
def test_standing_dips_once_at_its_nadir(nadir):
    since = np.arange(-100, 3000) * 0.02
    dip = standing_dip(StandingUp(nadir_s=nadir), since)
    lowest = int(np.argmax(dip))
    assert since[lowest] == pytest.approx(nadir, abs=0.011) and dip[lowest] == pytest.approx(1.0, abs=1e-4)
    assert np.all(dip[since <= 0] == 0) and np.all(np.diff(dip[since > 0][: lowest - 100]) > 0)
    assert standing_dip(StandingUp(nadir_s=nadir), np.array([4 * nadir]))[0] < 0.05


def test_hyperaemia_decays_from_its_size_and_waits_on_a_plateau():
    event = ArmOcclusion()
    times = np.array([-1.0, 0.0, 25.0, 150.0])
    assert hyperaemia(event, times) == pytest.approx(
        [0.0, 1.0, 0.7 * 0.5 + 0.3 * 2 ** (-25 / 150), 0.7 * 2**-6 + 0.3 * 0.5]
    )
    late = hyperaemia(event._replace(plateau_s=60.0), np.array([0.0, 60.0, 85.0]))
    assert late[0] == late[1] == 1.0 and late[2] == pytest.approx(hyperaemia(event, times)[2])


def test_occlusion_shuts_and_opens():
    slow = happen(quiet(1500.0), ArmOcclusion(start=0.2), 1500.0, 1.0, 1)
    through = np.interp([299.0, 301.5, 599.0, 602.0], slow.time_s, slow.open)
    assert through == pytest.approx([1.0, 0.0, 0.0, 1.0])
    assert slow.floor_mmHg[int(590 / GRID_s)] == pytest.approx(25.0, abs=0.1)
    assert slow.tone[int(599 / GRID_s)] == 0.0 and slow.tone[int(600.1 / GRID_s)] == pytest.approx(-1.0, abs=0.02)
    short = happen(quiet(300.0), ArmOcclusion(start=0.2), 300.0, 1.0, 1)
    assert short.marks == [(60.0, "arm shut"), (120.0, "arm opened")] and "shortened to 60 s" in short.notes[0]


@given(st.floats(-1, 1), st.floats(0.02, 1.0))
@settings(max_examples=20)
def test_the_hand_arrives_and_comes_back(height, speed):
    slow = happen(quiet(400.0), HandMove(height, 0.25, 0.75, speed), 400.0, 1.0, 1)
    assert slow.height_m[int(150 / GRID_s)] == pytest.approx(height)
    assert slow.height_m[-1] == pytest.approx(0, abs=1e-12)
    assert np.max(np.abs(np.diff(slow.height_m))) <= speed * GRID_s * (1 + 1e-9) + 1e-12


def test_a_slow_hand_in_a_short_run_hurries():
    slow = happen(quiet(20.0), HandMove(0.4, 0.25, 1.0, 0.04), 20.0, 1.0, 1)
    assert np.max(slow.height_m) == pytest.approx(0.4) and "shortened to 7.5 s" in slow.notes[0]
    assert slow.marks == [(5.0, "hand 40 cm up")]


def test_waves_move_tone_first_and_pressure_behind_it():
    """Pressure follows tone by the lag: the cross-correlation peaks there."""
    slow = happen(quiet(600.0), Waves(4.0, 0.2, lag_s=2.5), 600.0, 1.0, 7)
    lags = np.arange(-100, 101)
    inner = slice(200, -200)
    match = [float(np.dot(slow.tone[inner], np.roll(slow.systolic_mmHg, -lag)[inner])) for lag in lags]
    assert lags[int(np.argmax(match))] * GRID_s == pytest.approx(2.5, abs=0.06)
    assert np.std(slow.systolic_mmHg) == pytest.approx(4.0 / np.sqrt(2), rel=0.15)
    assert np.std(slow.tone) == pytest.approx(0.2 / np.sqrt(2), rel=0.15)


def test_wander_has_its_size_and_is_repeatable():
    slow = quiet(20_000.0)
    path = wander(slow, 0.3, 50.0, 4)
    assert np.std(path) == pytest.approx(0.3, rel=0.2)
    assert np.array_equal(path, wander(slow, 0.3, 50.0, 4))
    assert not np.array_equal(path, wander(slow, 0.3, 50.0, 5))


def test_rhythm_and_light_leave_only_a_mark():
    slow = happen(happen(happen(quiet(100.0), IrregularRhythm(), 100.0, 1.0, 1), Lamp(), 100.0, 1.0, 1), Daylight(),
                  100.0, 1.0, 1)
    assert not np.any(slow.tone) and not np.any(slow.systolic_mmHg)
    assert [word for _, word in slow.marks] == [
        "irregular rhythm begins", "irregular rhythm ends", "lamp begins", "lamp ends",
    ]
