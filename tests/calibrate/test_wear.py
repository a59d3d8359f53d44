import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibrate.wear import (
    Accepted,
    Refusal,
    Turn,
    WearLimits,
    WearPlan,
    check_plan,
    load_until,
    timeline,
    wear_account,
)
from plant.declare import declared
from plant.errors import InputError

PLANS = st.builds(WearPlan, st.floats(0.5, 100), st.integers(1, 2), st.floats(5, 300), st.floats(0, 60))


@pytest.mark.parametrize("part", [WearPlan, WearLimits])
def test_every_parameter_is_declared(part):
    assert all(p.unit and p.meaning and p.source for p in declared(part))


COMMON = WearLimits(8.0, 72.0, 60.0, 10.0, 3960.0)  # what is common practice, no source: here only to check against


def test_nothing_is_taken_for_granted_and_the_limits_are_our_own():
    with pytest.raises(TypeError):
        WearPlan()
    assert all("invented" in p.source for p in declared(WearLimits))
    assert not set(WearLimits()[:3]) & set(COMMON[:3])


def test_common_practice_can_be_told_and_is_accepted_then():
    """One cuff up to 8 h; two alternating every 60 minutes up to 72 h (common practice, no source)."""
    assert isinstance(check_plan(WearPlan(8.0, 1), COMMON), Accepted)
    assert isinstance(check_plan(WearPlan(72.0, 2, 60.0), COMMON), Accepted)
    assert isinstance(check_plan(WearPlan(8.0, 1)), Refusal) and isinstance(check_plan(WearPlan(5.0, 1)), Accepted)


@pytest.mark.parametrize(
    ("plan", "limits", "mean", "broken", "told"),
    [
        (WearPlan(5.1, 1), WearLimits(), 90.0, ("duration",), "5.1 h is longer than the 5 h for one finger; two"),
        (WearPlan(31.0, 2), WearLimits(), 90.0, ("duration",), "31 h is longer than the 30 h for two fingers in turns"),
        (WearPlan(30.0, 2, 41.0), WearLimits(), 90.0, ("turn",), "under pressure for 41 min without a break"),
        (WearPlan(10.0, 2, 5.0), WearLimits(), 90.0, ("rest",), "rests for 5 min only, less than 10 min"),
        (WearPlan(72.0, 2, 60.0), COMMON, 130.0, ("load",), "bears 4680 mmHg·h, more than 3960 mmHg·h"),
        (WearPlan(4.0, 1, 60.0, 5.0), WearLimits(), 90.0, ("rest",), "finger 1 rests for 5 min"),
        (WearPlan(4.0, 1), WearLimits(one_finger_h=3.0), 90.0, ("duration",), "4 h is longer than the 3 h"),
        (WearPlan(80.0, 2, 90.0), COMMON, 120.0, ("duration", "turn", "load"), "80 h is longer"),
    ],
)
def test_a_plan_beyond_its_limits_is_refused_with_every_reason(plan, limits, mean, broken, told):
    verdict = check_plan(plan, limits, mean)
    assert isinstance(verdict, Refusal)
    assert verdict.broken == broken and len(verdict.reasons) == len(broken)
    assert told in verdict.message


def test_turns_by_the_clock():
    assert timeline(WearPlan(3.5, 2, 60.0)) == [Turn(0, 0, 1), Turn(1, 1, 2), Turn(0, 2, 3), Turn(1, 3, 3.5)]
    assert timeline(WearPlan(8.0, 1)) == [Turn(0, 0.0, 8.0)]
    rested = timeline(WearPlan(3.0, 1, 60.0, 30.0))
    assert [(t.finger, t.start_h, t.end_h) for t in rested] == [(0, 0.0, 1.0), (0, 1.5, 2.5)]


def test_account_of_three_days():
    first, second = wear_account(WearPlan(72.0, 2, 60.0), 90.0)
    assert first.pressed_h == pytest.approx(36.0) and second.pressed_h == pytest.approx(36.0)
    assert first.turns == 36 and first.longest_h == pytest.approx(1.0)
    assert first.shortest_rest_h == pytest.approx(1.0) and first.load_mmHg_h == pytest.approx(3240.0)
    (alone,) = wear_account(WearPlan(8.0, 1), 90.0)
    assert alone.shortest_rest_h == math.inf and alone.load_mmHg_h == pytest.approx(720.0)


@given(PLANS, st.floats(20, 200))
@settings(max_examples=60)
def test_no_pressure_is_lost_and_fingers_never_bear_it_together(plan, mean):
    """Conservation: loads add up to mean pressure times the time in which any finger is pressed."""
    turns = timeline(plan)
    assert all(before.end_h <= after.start_h + 1e-9 for before, after in pairwise(turns))
    assert all(0.0 <= t.start_h < t.end_h <= plan.duration_h for t in turns)
    accounts = wear_account(plan, mean)
    pressed = sum(t.end_h - t.start_h for t in turns)
    assert sum(a.load_mmHg_h for a in accounts) == pytest.approx(mean * pressed)
    if plan.pause_min == 0.0:
        assert pressed == pytest.approx(plan.duration_h)
    assert all(a.load_mmHg_h == pytest.approx(mean * a.pressed_h) for a in accounts)


@given(PLANS, st.lists(st.floats(0, 200), min_size=1, max_size=20))
@settings(max_examples=40)
def test_pressure_that_changes(plan, means):
    """The integral over equal parts, against a fine sum of the same pressure."""
    accounts = wear_account(plan, np.array(means))
    fine = (np.arange(200_000) + 0.5) * plan.duration_h / 200_000
    pressure = np.array(means)[np.minimum((fine / plan.duration_h * len(means)).astype(int), len(means) - 1)]
    for account in accounts:
        on = np.zeros(len(fine), bool)
        for turn in timeline(plan):
            on |= (turn.finger == account.finger) & (fine >= turn.start_h) & (fine < turn.end_h)
        step_h = plan.duration_h / 200_000
        coarse = np.sum(pressure[on]) * step_h
        assert account.load_mmHg_h == pytest.approx(coarse, abs=200 * step_h * (2 * account.turns + 25))


@given(PLANS, st.floats(20, 200), st.floats(1.0, 3.0))
@settings(max_examples=30)
def test_more_pressure_never_turns_a_refusal_into_an_acceptance(plan, mean, factor):
    limits = WearLimits(one_finger_h=24.0, two_fingers_h=90.0, turn_min=120.0, rest_min=5.0, load_mmHg_h=2000.0)
    gentle, hard = (check_plan(plan, limits, min(m, 400.0)) for m in (mean, mean * factor))
    assert isinstance(hard, Refusal) or isinstance(gentle, Accepted)
    if isinstance(hard, Accepted):
        assert hard.accounts[0].load_mmHg_h >= gentle.accounts[0].load_mmHg_h


def test_load_grows_while_pressed_and_rests_at_rest():
    plan = WearPlan(4.0, 2, 60.0)
    borne = load_until(timeline(plan), 0, 100.0, 4.0, np.array([0.0, 0.5, 1.0, 2.0, 2.25, 3.0, 4.0]))
    assert borne == pytest.approx([0.0, 50.0, 100.0, 100.0, 125.0, 200.0, 200.0])


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (lambda: timeline(WearPlan(4.0, 2, 0.0)), "turn_min = 0 min"),
        (lambda: timeline(WearPlan(4.0, 3)), "fingers = 3"),
        (lambda: timeline(WearPlan(4.0, 1.5)), "fingers = 1.5 must be 1 or 2"),
        (lambda: check_plan(WearPlan(math.nan, 2)), "duration_h = nan"),
        (lambda: check_plan(WearPlan(4.0, 2), WearLimits(rest_min=-1.0)), "rest_min = -1"),
        (lambda: wear_account(WearPlan(4.0, 2), -5.0), "from 0 to 400 mmHg"),
        (lambda: wear_account(WearPlan(4.0, 2), np.array([])), "from 0 to 400 mmHg"),
        (lambda: wear_account(WearPlan(4.0, 2), math.nan), "from 0 to 400 mmHg"),
    ],
)
def test_bad_input(call, told):
    with pytest.raises(InputError) as caught:
        call()
    assert told in str(caught.value) and "\n" not in str(caught.value)
