"""The bank of filters: levels that stay, creep, jump or wave, seen with noise, look by look."""
import math
from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.protocol import Found
from calibrate.schedule.level_bank import LevelBank, usual_models
from calibrate.search.track import Motion, Track
from calibrate.search.vertex import Shape, Vertex

LOOK_s, SLOPE = 1.25, 0.005
MOTION = Motion(1.0, 0.2)
FOUND = Found(0.5, 0.5 * SLOPE, 90.0, 1.0, 15.0)
SHAPE = Shape(15.0, 0.05, 0.0, 0.05)


def bank() -> LevelBank:
    return LevelBank.after(FOUND, SHAPE, MOTION, LOOK_s)


def vertex(depth: float, sd_mmHg: float = 0.7, relative_slope: float = SLOPE) -> Vertex:
    """A vertex in the middle of a wide look."""
    return Vertex(depth, relative_slope, sd_mmHg, 0.03, depth, 8.0 * SLOPE, SHAPE)


class Followed(NamedTuple):
    """A course of levels as it was followed."""

    late_mmHg: np.ndarray  # what was expected of each look less what was true
    bank: LevelBank
    tracked_mmHg: np.ndarray  # the same of a filter of level and drift alone


def follow(level_mmHg: np.ndarray, noise_mmHg: float, log_slope: np.ndarray | None = None) -> Followed:
    """Look after look, each vertex at its level, with noise; the same for both filters."""
    own, track, noise = bank(), Track.at(-math.log(0.5), SLOPE, SHAPE, 1.0, 0.3), np.random.default_rng(1)
    late, tracked = [], []
    slopes = SLOPE * np.exp(np.zeros(len(level_mmHg)) if log_slope is None else log_slope)
    for level, slope in zip(level_mmHg, slopes, strict=True):
        true = -math.log(0.5) + SLOPE * level
        late.append((own.depth(1.0) - true) / SLOPE)
        tracked.append((track.ahead(MOTION).depth - true) / SLOPE)
        seen = vertex(true + SLOPE * noise_mmHg * noise.normal(), noise_mmHg, float(slope))
        own, track = own.see(seen, 2.0), track.see(seen, MOTION, 2.0)
    return Followed(np.array(late), own, np.array(tracked))


def rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def test_it_starts_where_the_search_ended() -> None:
    start = bank()
    assert math.exp(-start.depth(0.0)) == pytest.approx(0.5) and start.depth(3.0) == start.depth(0.0)
    assert start.slope(1.0) == pytest.approx(SLOPE) and np.sum(start.weight) == pytest.approx(1.0)


def test_a_level_that_stays_is_held_better_than_one_look_sees_it() -> None:
    still = follow(np.zeros(200), 0.7)
    assert rms(still.late_mmHg[40:]) < 0.5 < 0.7
    assert abs(still.bank.wave_mmHg(1.0)) < 0.5


@pytest.mark.parametrize("frequency_Hz", [0.085, 0.1, 0.11])
@pytest.mark.parametrize("size_mmHg", [6.0, 15.0])
def test_waves_are_foretold(frequency_Hz: float, size_mmHg: float) -> None:
    """Between and at the frequencies of the bank; level and drift alone are left behind."""
    time_s = LOOK_s * np.arange(160)
    waves = follow(size_mmHg * np.sin(2.0 * math.pi * frequency_Hz * time_s), 0.7)
    assert rms(waves.late_mmHg[60:]) < 1.8
    assert rms(waves.late_mmHg[60:]) < 0.7 * rms(waves.tracked_mmHg[60:])


@pytest.mark.parametrize("rate_mmHg_s", [-0.3, 0.3])
def test_a_level_that_creeps_is_followed_without_a_lag(rate_mmHg_s: float) -> None:
    late = follow(rate_mmHg_s * LOOK_s * np.arange(120), 0.7).late_mmHg
    assert abs(float(np.mean(late[60:]))) < 0.2


def test_after_a_jump_it_comes_back_within_looks() -> None:
    late = follow(np.where(np.arange(120) < 60, 0.0, 10.0), 0.5).late_mmHg
    assert abs(late[60]) > 9.0 and np.max(np.abs(late[68:])) < 2.5


@pytest.mark.parametrize("steeper", [-0.06, 0.06])
def test_a_slope_that_goes_with_the_waves_is_learnt(steeper: float) -> None:
    level = 12.0 * np.sin(2.0 * math.pi * 0.1 * LOOK_s * np.arange(160))
    learnt = follow(level, 0.5, steeper * level).bank
    assert learnt.steeper == pytest.approx(steeper, rel=0.3)
    for looks in (1.0, 3.0, 5.0):
        assert math.log(learnt.slope(looks) / SLOPE) == pytest.approx(
            steeper * 12.0 * math.sin(2.0 * math.pi * 0.1 * LOOK_s * (159 + looks)), abs=0.2)


def test_the_course_meets_the_level_at_the_middle_of_the_look() -> None:
    waving = follow(10.0 * np.sin(2.0 * math.pi * 0.1 * LOOK_s * np.arange(80)), 0.5).bank
    looks = np.linspace(0.5, 1.5, 251)
    course = waving.course_mmHg(looks)
    assert course[125] == pytest.approx(waving.level_mmHg(1.0), abs=1e-9)
    assert np.max(np.abs(course - [waving.level_mmHg(float(t)) for t in looks])) < 0.05


def test_a_look_that_shows_nothing_makes_it_less_sure() -> None:
    before = follow(np.zeros(30), 0.7).bank
    after = before.coast()
    assert np.all(after.covariance[:, 0, 0] > before.covariance[:, 0, 0])
    assert after.depth(0.0) == pytest.approx(before.depth(1.0))


def test_what_lies_beyond_reach_counts_no_further() -> None:
    here = -math.log(0.5)
    narrow = vertex(here + 40.0 * SLOPE)._replace(middle=here, span=3.0 * SLOPE)
    at_reach = vertex(here + 6.0 * SLOPE)._replace(middle=here, span=3.0 * SLOPE)
    assert bank().see(narrow, 2.0).depth(0.0) == bank().see(at_reach, 2.0).depth(0.0)


@given(st.lists(st.floats(-30.0, 30.0), min_size=1, max_size=25), st.floats(0.1, 5.0))
def test_weights_and_covariances_stay_what_they_are(levels: list[float], sd_mmHg: float) -> None:
    """Weights are shares, covariances symmetric and not negative, whatever is seen."""
    own = bank()
    for level in levels:
        own = own.see(vertex(-math.log(0.5) + SLOPE * level, sd_mmHg), 2.0)
    assert np.sum(own.weight) == pytest.approx(1.0) and np.all(own.weight > 0.0)
    assert np.allclose(own.covariance, own.covariance.transpose(0, 2, 1), atol=1e-6)
    assert np.min(np.linalg.eigvalsh(own.covariance)) > -1e-6


def test_the_bank_has_filters_with_and_without_waves_of_every_restlessness() -> None:
    models = usual_models()
    assert len(set(zip(*models, strict=True))) == len(models.restless) == 21
    assert np.sum(models.waves_mmHg == 0.0) == len(set(models.restless)) == 3
