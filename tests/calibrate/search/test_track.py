"""Level and drift from look to look: gains, drifts, what is learnt of unrest and shape, and how sure it says it is."""
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibrate.search.track import KEPT_SKEW, SKEW_SHARE, SKEW_UNREST, VEINS_DEPTH, Motion, Track, WIDTHS_mmHg, told
from calibrate.search.vertex import Shape, Vertex

SLOPE = 0.005
SHAPE = Shape(15.0)
START = Track.at(0.6, SLOPE, SHAPE, 2.0, 0.3)
CALM, DAMPED = Motion(0.4, 0.2), Motion(0.4, 0.2, 0.8)
offsets = st.floats(-60.0, 60.0)


def vertex(track: Track, offset_mmHg: float, sd: float = 0.5, span_mmHg: float = 6.0, shape: Shape = SHAPE) -> Vertex:
    """A look about the level of a track whose vertex lies so far from it."""
    return Vertex(track.depth + SLOPE * offset_mmHg, SLOPE, sd, 0.02, track.depth, SLOPE * span_mmHg, shape)


def drifting(per_look_mmHg: float, looks: int, motion: Motion = CALM) -> tuple[Track, float]:
    """A track after looks at a vertex that moves steadily, and where the vertex is [optical depth]."""
    track, truth = START, START.depth
    for _ in range(looks):
        truth += per_look_mmHg * SLOPE
        track = track.see(vertex(track, (truth - track.depth) / SLOPE), motion)
    return track, truth


@given(offsets, st.floats(0.05, 20.0))
def test_a_look_moves_the_level_towards_its_vertex_and_not_beyond_its_reach(offset: float, sd: float) -> None:
    moved = (START.see(vertex(START, offset, sd), CALM).depth - START.depth) / SLOPE
    assert 0.0 <= moved * math.copysign(1.0, offset) <= min(abs(offset), 1.5 * 6.0) + 1e-9


@given(st.floats(0.05, 10.0), st.floats(0.05, 10.0))
def test_variance_shrinks_with_information_and_grows_with_time(sd: float, more: float) -> None:
    sure, unsure = (START.see(vertex(START, 1.0, s), CALM) for s in (sd, sd + more))
    assert sure.level_variance < unsure.level_variance < START.ahead(CALM).level_variance
    assert START.level_variance < START.ahead(CALM).level_variance < START.ahead(CALM, 2.0).level_variance
    assert sure.joint_variance**2 <= sure.level_variance * sure.drift_variance * (1.0 + 1e-9)


def test_looks_at_one_vertex_converge_to_it() -> None:
    track, truth = START, 0.6 + 5.0 * SLOPE
    for _ in range(12):
        track = track.see(vertex(track, (truth - track.depth) / SLOPE), CALM)
    assert track.depth == pytest.approx(truth, abs=0.3 * SLOPE) and abs(track.drift_mmHg) < 0.1


@pytest.mark.parametrize("rate", [-0.5, 0.4])
def test_a_steady_drift_is_learnt_and_followed_without_a_lag(rate: float) -> None:
    track, truth = drifting(rate, 60)
    assert track.drift_mmHg == pytest.approx(rate, rel=0.2)
    assert abs(truth + rate * SLOPE - track.ahead(CALM).depth) / SLOPE < 0.2 * abs(rate)


def test_a_damped_drift_is_believed_less() -> None:
    free, held = (drifting(0.5, 60, motion)[0].drift_mmHg for motion in (CALM, DAMPED))
    assert 0.0 < held < free
    later = START._replace(drift=SLOPE).ahead(DAMPED, 10.0)
    assert later.drift_mmHg == pytest.approx(0.8**10)


def test_several_looks_ahead_are_one_after_the_other() -> None:
    """What is not damped: the same levels and covariances, but for how the noise of a turning drift is summed."""
    moving = START._replace(drift=0.3 * SLOPE, joint_variance=0.1)
    once, step = moving.ahead(CALM, 2.0), moving.ahead(CALM).ahead(CALM)
    assert once.depth == pytest.approx(step.depth)
    assert once.level_variance == pytest.approx(step.level_variance, rel=0.02)
    assert once.drift_variance == pytest.approx(step.drift_variance)


def test_surprises_make_a_finger_restless_and_calm_makes_it_still() -> None:
    calm, restless = START, START
    for k in range(12):
        calm = calm.see(vertex(calm, 0.0), CALM)
        restless = restless.see(vertex(restless, 4.0 * (-1.0) ** k), CALM)
    assert calm.unrest < 0.5 < 1.0 < restless.unrest
    assert calm.level_variance < restless.level_variance
    assert calm.stated_sd_mmHg <= calm.sd_mmHg < restless.sd_mmHg < restless.stated_sd_mmHg


def test_the_stated_interval_holds_a_level_that_moves_as_it_is_told() -> None:
    """A hundred levels that wander as the filter believes, of three unrests: nine of ten or so within 90 %."""
    for unrest in (0.5, 1.0, 2.0):
        inside = []
        for seed in range(100):
            random, track, level, drift = np.random.default_rng(seed), START, 0.6, 0.0
            for _ in range(14):
                drift = DAMPED.kept * drift + unrest * DAMPED.turning_mmHg * SLOPE * random.standard_normal()
                level += drift + unrest * DAMPED.restless_mmHg * SLOPE * random.standard_normal()
                track = track.see(vertex(track, (level - track.depth) / SLOPE + 0.5 * random.standard_normal()), DAMPED)
            inside.append(abs(level - track.depth) / SLOPE < 1.645 * track.stated_sd_mmHg)
        assert np.mean(inside) > 0.82


def test_coasting_knows_less_and_slows_down() -> None:
    moving = START._replace(drift=0.01)
    after = moving.coast(CALM)
    assert 0.0 < after.drift < moving.drift and after.level_variance > moving.level_variance


def test_the_slope_follows_what_looks_read() -> None:
    track = START
    for _ in range(10):
        track = track.see(vertex(track, 0.0)._replace(relative_slope=2.0 * SLOPE), CALM)
    assert track.relative_slope == pytest.approx(2.0 * SLOPE, rel=0.02)


def test_a_shape_is_learnt_only_where_both_sides_were_seen() -> None:
    wide = Shape(25.0, 0.1, 0.3, 0.1)
    sure = START._replace(level_variance=0.5)
    assert sure.see(vertex(sure, 0.5, shape=wide), CALM).shape.width_mmHg > 20.0
    assert sure.see(vertex(sure, 5.5, shape=wide), CALM).shape == SHAPE
    assert Track.at(0.6, SLOPE, SHAPE, 9.0, 0.3).see(vertex(START, 0.5, shape=wide), CALM).shape == SHAPE


def test_what_was_told_of_the_shape_can_be_undone() -> None:
    first = Shape(15.0, 0.35, 0.5, 0.45)
    after = told(first, Shape(1e6, 0.01, 1.5, 0.01))
    assert 15.0 < after.width_mmHg <= WIDTHS_mmHg[1] and after.skew == pytest.approx(0.5 + KEPT_SKEW)
    assert after.width_spread > 0.1 and SKEW_UNREST < after.skew_spread < first.skew_spread
    assert told(first, Shape(15.0, skew_spread=3.0)).skew_spread == first.skew_spread
    assert told(first, Shape(15.0)).width_mmHg == pytest.approx(15.0)


def test_the_less_an_artery_answers_the_more_its_veins_hide() -> None:
    """Blood in veins moves by an optical depth, which is the more pressure the smaller the slope."""
    faint = START._replace(relative_slope=1e-4)
    assert START.stated_sd_mmHg == pytest.approx(VEINS_DEPTH / SLOPE)
    assert faint.stated_sd_mmHg == pytest.approx(1e4 * VEINS_DEPTH)


@settings(max_examples=25, deadline=None)
@given(st.floats(0.0, 5.0), st.integers(1, 40))
def test_what_the_skew_is_not_known_by_is_told_however_many_looks(lever_mmHg: float, looks: int) -> None:
    """Chance averages out over looks, an error that they share does not."""
    track = START
    for _ in range(looks):
        track = track.see(vertex(track, 0.0)._replace(lever_mmHg=lever_mmHg), CALM)
    assert track.stated_sd_mmHg >= 0.999 * math.sqrt(SKEW_SHARE) * lever_mmHg * track.shape.skew_spread
    assert track.shape.skew_spread > SKEW_UNREST


@pytest.mark.parametrize(("sd_mmHg", "kept"), [(0.0, 2.0), (5.0, 5.0)])
def test_a_level_in_doubt_is_wide_and_so_is_its_shape(sd_mmHg: float, kept: float) -> None:
    doubted = Track.unsure(0.7, 0.005, 15.0, 0.3, sd_mmHg)
    assert doubted.sd_mmHg == kept and doubted.drift_mmHg == 0.0
    assert (doubted.depth, doubted.shape.width_mmHg, doubted.shape.skew) == (0.7, 15.0, 0.3)
    assert doubted.shape.width_spread > 0.2 and doubted.shape.skew_spread > 0.2
