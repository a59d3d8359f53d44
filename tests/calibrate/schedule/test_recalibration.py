"""A short staircase and a few wide looks recover how far the set point has moved."""
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibrate.protocol import Clamp, Failed, Found, Hold, Instrument
from calibrate.schedule.recalibration import ShortStaircase, WideLooks, fit_short
from calibrate.schedule.schedule import Beats, beats_in
from calibrate.search.staircase import Step

BEATS = Beats(10.0, 0.8, 110.0, 65.0, 83.0)


def steps(moved: float, scale: float = 1.0, noise: float = 1e-5) -> list[Step]:
    """Exact rises of a pulse that lies `moved` higher than the clamp's reading says."""
    found = []
    for pressure in (65.0, 101.0):
        top, foot = (math.atan((x + moved - pressure) / 15.0) for x in (110.0, 65.0))
        rise = scale * 0.3 * (top - foot) / math.pi
        found.append(Step(pressure, rise, 1.0, 1.0, 0.4, noise * scale, rise, 0.0, np.zeros(1)))
    return found


@pytest.mark.parametrize("moved", [-8.0, -3.0, 0.0, 3.0, 8.0])
def test_the_shift_has_the_right_sign_and_size(moved: float) -> None:
    found, depth, width = fit_short(steps(moved), BEATS, 0.3, 15.0)
    assert found == pytest.approx(moved, abs=1.0)
    assert depth == pytest.approx(0.3, rel=0.1) and width == pytest.approx(15.0, rel=0.1)


@settings(max_examples=20)
@given(st.floats(0.1, 10.0), st.floats(-8.0, 8.0))
def test_more_blood_in_the_light_changes_no_shift(scale: float, moved: float) -> None:
    plain, other = fit_short(steps(moved), BEATS, 0.3, 15.0), fit_short(steps(moved, scale), BEATS, 0.3 * scale, 15.0)
    assert other[0] == pytest.approx(plain[0], abs=0.02) and other[2] == pytest.approx(plain[2], rel=1e-3)
    assert other[1] == pytest.approx(scale * plain[1], rel=1e-3)


@pytest.mark.parametrize("change", [0.7, 1.4])
def test_a_changed_share_of_blood_is_no_shift(change: float) -> None:
    """Constriction with the set point still right: α is found to have changed, δ stays small."""
    moved, depth, _ = fit_short(steps(0.0, change), BEATS, 0.3, 15.0)
    assert abs(moved) < 1.0
    assert (depth - 0.3) * (change - 1.0) > 0.0 and depth == pytest.approx(0.3 * change, rel=0.15)


def test_noise_leaves_it_at_what_was_believed() -> None:
    found, depth, width = fit_short(steps(8.0, noise=10.0), BEATS, 0.25, 20.0)
    assert abs(found) < 1.0 and depth == pytest.approx(0.25, rel=0.05) and width == pytest.approx(20.0, rel=0.05)


def clamp_of(finger: Any, step_mmHg: float, instrument: Instrument) -> tuple[Any, Found, Beats]:
    """A finger whose light moved by some mmHg, the set point of before, and the beats of the clamp there."""
    found = Found(finger.set_point, finger.relative_slope * finger.set_point, 85.0, 1.0, finger.width_mmHg)
    new = finger._replace(bright=finger.bright * math.exp(step_mmHg * finger.relative_slope))
    beats = beats_in(new.answer(Clamp(found.set_point, found.light_slope, 5.0), 100_000).reading_mmHg, 0.001)
    assert beats is not None
    return new, found, beats


@pytest.mark.parametrize("way", [ShortStaircase(), WideLooks()], ids=lambda w: type(w).__name__)
@pytest.mark.parametrize("step", [-8.0, -3.0, 0.0, 3.0, 8.0])
def test_the_set_point_follows_the_light(
    drive: Callable[..., Any], finger: Any, instrument: Instrument, way: ShortStaircase | WideLooks, step: float
) -> None:
    new, found, beats = clamp_of(finger._replace(noise=2e-5), step, instrument)
    assert abs(new.error_mmHg(found.set_point)) == pytest.approx(abs(step), rel=0.2, abs=0.01)
    again, moved = drive(way.repeat(instrument, found, beats), new).outcome
    assert abs(new.error_mmHg(again.set_point)) < 1.5
    assert again.light_slope / again.set_point == pytest.approx(new.relative_slope, rel=0.25)
    assert abs(moved) == pytest.approx(abs(step), abs=1.5)  # by what the set point was off by, so as good as it is


@pytest.mark.parametrize("shrunk", [0.15, 1.0])
def test_a_collapsed_pulsation_is_left_to_a_whole_search(
    drive: Callable[..., Any], finger: Any, instrument: Instrument, shrunk: float
) -> None:
    """A clamp that has been lost shows a pulse, too; two steps beside it would find some set point."""
    new, found, beats = clamp_of(finger._replace(noise=2e-6), 0.0, instrument)
    outcome = drive(ShortStaircase().repeat(instrument, found, beats), new._replace(depth=shrunk * new.depth)).outcome
    if shrunk < 1.0:
        assert isinstance(outcome, Failed) and outcome.reason == "clamp not held" and "whole search" in outcome.seen
    else:
        assert not isinstance(outcome, Failed)


@pytest.mark.parametrize("way", [ShortStaircase(), WideLooks()], ids=lambda w: type(w).__name__)
def test_what_moved_up_and_what_moved_down_are_told_apart(
    drive: Callable[..., Any], finger: Any, instrument: Instrument, way: ShortStaircase | WideLooks
) -> None:
    moves = []
    for step in (-10.0, 0.0, 10.0):
        new, found, beats = clamp_of(finger._replace(noise=2e-5), step, instrument)
        moves.append(drive(way.repeat(instrument, found, beats), new).outcome[1])
    assert np.all(np.diff(moves) > 4.0)  # more light at the unloaded volume: cuff pressure was too low, and goes up


def test_a_short_staircase_is_short_and_stays_within_bounds(
    drive: Callable[..., Any], finger: Any, instrument: Instrument
) -> None:
    new, found, beats = clamp_of(finger, 5.0, instrument)
    run = drive(ShortStaircase().repeat(instrument, found, beats), new)
    assert len(run.asked) == 3 and all(isinstance(r, Hold) for r in run.asked)
    assert run.seconds < 6.0 and run.holds[0] < beats.mean_mmHg < run.holds[1]
    low = beats._replace(mean_mmHg=15.0)
    assert next(ShortStaircase().repeat(instrument, found, low)).pressure_mmHg >= 10.0
    tight = instrument._replace(highest_mmHg=90.0)
    assert max(drive(ShortStaircase().repeat(tight, found, beats), new, tight).holds) <= 90.0


@pytest.mark.parametrize(("changes", "reason"), [
    ({"pulse_mmHg": 0.0, "noise": 1e-3}, "no pulse"), ({"bright": 3.0}, "light saturated"),
    ({"bright": 1e-5}, "light saturated"),
])
def test_a_short_staircase_fails_by_name(
    drive: Callable[..., Any], finger: Any, instrument: Instrument, changes: dict[str, float], reason: str
) -> None:
    _, found, beats = clamp_of(finger, 0.0, instrument)
    outcome = drive(ShortStaircase().repeat(instrument, found, beats), finger._replace(**changes)).outcome
    assert isinstance(outcome, Failed) and outcome.reason == reason


def test_wide_looks_stay_in_the_clamp_and_are_shown_once_they_have_arrived(
    drive: Callable[..., Any], finger: Any, instrument: Instrument
) -> None:
    new, found, beats = clamp_of(finger, 5.0, instrument)
    run = drive(WideLooks().repeat(instrument, found, beats), new)
    assert len(run.clamps) == len(run.asked) >= WideLooks().looks
    shown = [c.shown for c in run.clamps]
    assert not shown[0] and sum(shown) >= WideLooks().looks and shown == sorted(shown)
    assert all(c.tone_mmHg > 0.0 for c in run.clamps)
