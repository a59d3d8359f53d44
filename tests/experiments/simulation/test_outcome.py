"""Sums of a run against sums made by NumPy."""
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.protection.protection import DETECTORS
from experiments.simulation.outcome import (
    BACKUPS,
    FIGURES,
    LAYERS,
    NEVER,
    Judge,
    Seen,
    Sums,
    add_display,
    add_pressure,
    add_vent,
    counted,
    figures_of,
    first_actions,
    noted,
    nothing_yet,
)
from plant.assembly import Surroundings
from plant.finger.artery import Artery

JUDGE = Judge(300.0, 330.0, 10.0, 1.0, Artery(), 1.0, 0, 15.0)
AROUND = Surroundings(95.0, 0.0, 0.02)
QUIET = Seen(0.0, False, False, True, 90.0, True, 1.0, (False,) * len(DETECTORS), (False,) * len(BACKUPS))


@given(st.lists(st.floats(-20.0, 500.0), min_size=1, max_size=80))
@settings(deadline=None)
def test_pressures(pressures):
    sums = nothing_yet().pressure
    for p in pressures:
        sums = add_pressure(sums, JUDGE, p, 0.001)
    found = np.array(pressures)
    assert sums.highest_mmHg == max(np.max(found), 0.0) and sums.lowest_mmHg == np.min(found)
    assert sums.above_normal_s == pytest.approx(0.001 * np.sum(found > 300.0))
    assert sums.above_fault_s == pytest.approx(0.001 * np.sum(found > 330.0))
    assert sums.integral_mmHg_s == pytest.approx(0.001 * np.sum(np.maximum(found, 0.0)))


def test_time_to_empty_counts_the_last_time_it_came_down():
    times = nothing_yet().vent
    course = [100.0, 18.0, 12.0, 25.0, 19.0, 14.0, 3.0]
    for k, p in enumerate(course):
        times = add_vent(times, QUIET._replace(since_s=0.001 * k, released=k == 0), p, 0.001)
    assert times.vent_start_s == 0.0 and times.empty_s == pytest.approx(0.001)
    assert times.below_20_s == pytest.approx(0.004) and times.below_15_s == pytest.approx(0.005)
    assert nothing_yet().vent.below_15_s == NEVER


def test_what_is_let_go_before_the_onset_does_not_count():
    times = add_vent(nothing_yet().vent, QUIET._replace(since_s=-0.001, released=True), 3.0, 0.001)
    assert times == nothing_yet().vent


def test_a_wrong_display_counts_while_nobody_warns():
    """20 mmHg too high: after ln 2 seconds of the mean's time constant it is 10 mmHg wrong; a warning ends it."""
    sums = nothing_yet().display
    for k in range(6000):
        seen = QUIET._replace(since_s=0.001 * k, shown_mmHg=95.0 - 5.0 + 20.0, trusted=k < 4000, warned=k >= 4000)
        sums = add_display(sums, JUDGE, seen, AROUND, 0.001)
    assert sums.wrong_s == pytest.approx(4.0 - np.log(2.0), abs=0.01)
    assert sums.wrong_longest_s == pytest.approx(sums.wrong_s) and 19.0 < sums.wrong_mmHg < 20.0
    assert sums.detected_s == pytest.approx(4.0) and sums.wrong_at_alarm_mmHg == sums.wrong_mmHg
    assert sums.wrong_now_s == 0.0
    right = nothing_yet().display
    for _ in range(3000):
        right = add_display(right, JUDGE, QUIET, AROUND, 0.001)
    assert right == nothing_yet().display


def test_nothing_is_shown_wrong_before_the_onset():
    early = QUIET._replace(since_s=-1.0, shown_mmHg=200.0)
    assert add_display(nothing_yet().display, JUDGE, early, AROUND, 0.001) == nothing_yet().display


def test_only_the_first_action_is_noted():
    sums, fires = nothing_yet(), [False] * len(DETECTORS)
    for since, which in ((1.0, (0, 2)), (2.0, (0, 1, 2))):
        seen = QUIET._replace(since_s=since, detectors=tuple(i in which for i in range(len(fires))))
        sums = counted(sums, JUDGE, seen, 90.0, AROUND, 0.001)
    last = QUIET._replace(since_s=3.0, judged=False, detectors=(True,) * len(fires))._replace(
        backups=(False, False, False, True))
    sums = counted(sums, JUDGE, last, 90.0, AROUND, 0.001)
    acted = list(first_actions(sums).values())
    assert acted[:3] == [1.0, 2.0, 1.0] and acted[-1] == 3.0 and set(acted[3:-1]) == {NEVER}
    assert tuple(first_actions(sums)) == LAYERS and tuple(figures_of(sums)) == FIGURES


def test_what_acts_before_the_onset_acts_at_it():
    seen = QUIET._replace(since_s=-2.0, backups=(True, False, False, False))
    assert first_actions(counted(nothing_yet(), JUDGE, seen, 90.0, AROUND, 0.001))["relief"] == 0.0


def test_noting_is_the_same_in_python():
    times, acts = (NEVER, 0.5, NEVER), (True, True, False)
    assert noted(times, acts, True, 2.0) == (2.0, 0.5, NEVER) and noted(times, acts, False, 2.0) == times
    assert isinstance(nothing_yet(), Sums)
