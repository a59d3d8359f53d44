"""Sums of a run against sums made by NumPy."""
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from experiments.simulation.outcome import (
    ABOVE_FAULT,
    ABOVE_NORMAL,
    BELOW_15,
    BELOW_20,
    FIGURES,
    HIGHEST,
    INTEGRAL,
    LAYERS,
    LOWEST,
    NEVER,
    VENT_START,
    WRONG_LONGEST,
    WRONG_MOST,
    WRONG_TOTAL,
    Judge,
    add_display,
    add_pressure,
    new_tally,
    note,
    note_detectors,
)
from plant.finger.artery import Artery

JUDGE = Judge(300.0, 330.0, 10.0, 1.0, Artery(), 1.0, 0, 15.0)


@given(st.lists(st.floats(-20.0, 500.0), min_size=1, max_size=80))
@settings(deadline=None)
def test_pressures(pressures):
    sums, _ = new_tally()
    for k, p in enumerate(pressures):
        add_pressure(sums, JUDGE, p, 0.001 * k, 0.001)
    found = np.array(pressures)
    assert sums[HIGHEST] == max(np.max(found), 0.0) and sums[LOWEST] == np.min(found)
    assert sums[ABOVE_NORMAL] == pytest.approx(0.001 * np.sum(found > 300.0))
    assert sums[ABOVE_FAULT] == pytest.approx(0.001 * np.sum(found > 330.0))
    assert sums[INTEGRAL] == pytest.approx(0.001 * np.sum(np.maximum(found, 0.0)))


def test_time_to_empty_counts_the_last_time_it_came_down():
    sums, _ = new_tally()
    sums[VENT_START] = 0.0
    course = [100.0, 18.0, 12.0, 25.0, 19.0, 14.0, 3.0]
    for k, p in enumerate(course):
        add_pressure(sums, JUDGE, p, 0.001 * k, 0.001)
    assert sums[BELOW_20] == pytest.approx(0.004) and sums[BELOW_15] == pytest.approx(0.005)
    assert new_tally()[0][BELOW_15] == NEVER


def test_a_wrong_display_counts_while_nobody_warns():
    """20 mmHg too high: after ln 2 seconds of the mean's time constant it is 10 mmHg wrong; a warning ends it."""
    sums, _ = new_tally()
    for k in range(6000):
        add_display(sums, JUDGE, 95.0 - 5.0 + 20.0, k < 4000, 95.0, 0.0, 0.001)
    assert sums[WRONG_TOTAL] == pytest.approx(4.0 - np.log(2.0), abs=0.01)
    assert sums[WRONG_LONGEST] == pytest.approx(sums[WRONG_TOTAL]) and 19.0 < sums[WRONG_MOST] < 20.0
    right, _ = new_tally()
    for _ in range(3000):
        add_display(right, JUDGE, 90.0, True, 95.0, 0.0, 0.001)
    assert right[WRONG_TOTAL] == 0.0 and right[WRONG_MOST] == 0.0


def test_only_the_first_action_is_noted():
    _, first = new_tally()
    note_detectors(first, 0b101, 1.0)
    note_detectors(first, 0b111, 2.0)
    note(first, len(LAYERS) - 1, 3.0)
    assert list(first[:3]) == [1.0, 2.0, 1.0] and first[-1] == 3.0 and np.all(first[3:-1] == NEVER)
    assert len(new_tally()[0]) == len(FIGURES) + 3
