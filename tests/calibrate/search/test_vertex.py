"""The vertex of the reciprocal slope: laws of one width and of two, drifts, lags, noise, and slopes that are none."""
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibrate.search.vertex import Shape, Slopes, Vertex, fit_vertex, kinked

TOP, WIDTH = 0.005, 15.0  # slope at the vertex [1/mmHg] and half-width [mmHg] of the law below
COUNT, SWEEP_s = 48, 1.25


def law(
    swept_mmHg: np.ndarray, vertex_mmHg: float = 0.0, width: float = WIDTH, skew: float = 0.0, lag_mmHg: float = 0.0,
    drift_mmHg_s: float = 0.0, top: float = TOP,
) -> Slopes:
    """Slopes where transmural pressure is swept about the vertex, by an arctangent law with a width on either side.

    What drifts and lags adds to the depth without the artery having moved.
    """
    time = (np.arange(len(swept_mmHg)) + 0.5) / len(swept_mmHg) * SWEEP_s - 0.5 * SWEEP_s
    off = swept_mmHg - vertex_mmHg
    own = width * np.exp(0.5 * skew * np.sign(off))
    depth = top * own * np.arctan(off / own)
    depth = depth + top * (vertex_mmHg + drift_mmHg_s * time + lag_mmHg * np.cos(2 * np.pi * time / SWEEP_s))
    return Slopes(time, 0.6 + depth, top / (1.0 + (off / own) ** 2))


def swept(amplitude_mmHg: float = 6.0, count: int = COUNT) -> np.ndarray:
    """One period of a sweep."""
    return amplitude_mmHg * np.sin(2.0 * np.pi * (np.arange(count) + 0.5) / count)


def noisy(seen: Slopes, share: float, seed: int) -> Slopes:
    """The same with independent noise in each slope, share of the largest."""
    random = np.random.default_rng(seed).standard_normal(len(seen.slope))
    return seen._replace(slope=seen.slope + share * np.max(seen.slope) * random)


def off_mmHg(vertex: Vertex) -> float:
    """Where the vertex lies against that of a law at 0."""
    return (vertex.depth - 0.6) / TOP


@pytest.mark.parametrize("offset_mmHg", [-6.0, -2.0, 0.0, 2.0, 6.0])
@pytest.mark.parametrize("width", [8.0, 15.0, 30.0])
def test_the_vertex_is_found_on_either_side(offset_mmHg: float, width: float) -> None:
    vertex = fit_vertex(law(swept(0.4 * width), 0.05 * width * offset_mmHg, width), Shape(1.1 * width))
    assert off_mmHg(vertex) == pytest.approx(0.05 * width * offset_mmHg, abs=0.02 * width)
    assert vertex.relative_slope == pytest.approx(TOP, rel=0.02)
    assert vertex.width_mmHg == pytest.approx(width, rel=0.1) and vertex.shape.skew == pytest.approx(0.0, abs=0.2)


@pytest.mark.parametrize("ratio", [0.5, 0.7, 1.5, 2.0])
def test_a_law_with_two_widths_has_its_vertex_where_the_slope_is_largest(ratio: float) -> None:
    """A single parabola misses it, towards the wider side."""
    seen = law(swept(), skew=math.log(ratio))
    vertex = fit_vertex(seen, Shape(WIDTH, skew=0.0))
    single = fit_vertex(seen, Shape(WIDTH, skew=0.0, skew_spread=1e-3))
    assert abs(off_mmHg(vertex)) < 0.45 and vertex.shape.skew == pytest.approx(math.log(ratio), rel=0.35)
    assert off_mmHg(single) * math.log(ratio) > 0.0 and abs(off_mmHg(single)) > 2.0 * abs(off_mmHg(vertex))


@pytest.mark.parametrize("skew", [-0.7, 0.5, 0.7])
def test_slopes_read_over_a_range_of_pressures_have_their_vertex_put_back(skew: float) -> None:
    """Seen over a normal range of 2.5 mmHg, the largest slope of a law with two widths lies towards the wider side."""
    random = np.random.default_rng(4).standard_normal(20_000)
    sharp = law(swept(), skew=skew)
    spread = swept()[:, None] + 2.5 * random
    own = WIDTH * np.exp(0.5 * skew * np.sign(spread))
    blurred = sharp._replace(slope=np.mean(TOP / (1.0 + (spread / own) ** 2), 1))
    known = Shape(WIDTH, skew=skew, skew_spread=0.01)
    naive, right = (off_mmHg(fit_vertex(blurred, known, blur_mmHg=blur)) for blur in (0.0, 2.5))
    assert naive * skew > 0.0 and abs(naive) > 0.2 and abs(right) < 0.5 * abs(naive)


@settings(max_examples=50, deadline=None)
@given(st.floats(-30.0, 30.0), st.floats(0.3, 6.0))
def test_the_kink_is_a_mean_of_a_normal_distribution(apart: float, blur: float) -> None:
    """Held against a sum over the distribution; odd, and the law without blur far from the kink."""
    z = np.linspace(-8.0, 8.0, 40_001)
    weight = np.exp(-0.5 * z * z) / np.sum(np.exp(-0.5 * z * z))
    value, slope = kinked(np.array([apart]), blur)
    at = apart + blur * z
    assert value[0] == pytest.approx(np.sum(weight * at * np.abs(at)), rel=1e-5, abs=1e-6)
    assert slope[0] == pytest.approx(2.0 * np.sum(weight * np.abs(at)), rel=1e-5)
    assert kinked(np.array([-apart]), blur)[0][0] == pytest.approx(-value[0], abs=1e-12)


def test_the_lever_is_how_the_vertex_follows_the_skew() -> None:
    seen = noisy(law(swept()), 0.01, 5)
    tight = [fit_vertex(seen, Shape(WIDTH, skew=skew, skew_spread=1e-3)) for skew in (-0.1, 0.1)]
    moved = (off_mmHg(tight[1]) - off_mmHg(tight[0])) / 0.2
    assert tight[0].lever_mmHg == pytest.approx(moved, rel=0.35) and moved < -1.0


@pytest.mark.parametrize("drift", [-2.0, 2.0])
@pytest.mark.parametrize("lag", [-1.0, 0.0, 1.0])
def test_a_level_that_moves_meanwhile_is_told_for_the_middle(drift: float, lag: float) -> None:
    """At the middle of the time, with the sweep's lag left out; a fit that knows of neither is skewed by them."""
    seen = law(swept(), drift_mmHg_s=drift, lag_mmHg=lag)
    vertex = fit_vertex(seen, Shape(WIDTH), (0.0, 2.0), SWEEP_s)
    blind = fit_vertex(seen, Shape(WIDTH))
    assert abs(off_mmHg(vertex)) < 0.25
    assert vertex.scatter < 0.3 * blind.scatter


def test_a_known_drift_is_used() -> None:
    seen = noisy(law(swept(), drift_mmHg_s=3.0), 0.01, 1)
    assert abs(off_mmHg(fit_vertex(seen, Shape(WIDTH), (3.0, 0.01)))) < 0.5


def test_where_a_look_tells_no_shape_the_belief_stays() -> None:
    for belief in (10.0, 20.0, 40.0):
        told = fit_vertex(noisy(law(swept(1.0)), 0.02, 2), Shape(belief, 0.05, 0.3, 0.05)).shape
        assert told.width_mmHg == pytest.approx(belief, rel=0.1) and told.skew == pytest.approx(0.3, abs=0.1)
        assert told.width_spread < 0.0501 and told.skew_spread < 0.0501


@settings(max_examples=25, deadline=None)
@given(st.floats(0.2, 5.0), st.floats(-1.0, 1.0))
def test_the_vertex_moves_with_the_light(scale: float, shift: float) -> None:
    """Another share of blood scales depth and slope, another lamp shifts depth; pressures stay as they were."""
    seen = noisy(law(swept(), 2.0), 0.01, 3)
    plain = fit_vertex(seen, Shape(WIDTH))
    other = fit_vertex(Slopes(seen.time_s, scale * seen.depth + shift, scale * seen.slope), Shape(WIDTH))
    assert other.depth == pytest.approx(scale * plain.depth + shift, abs=1e-6)
    assert other.relative_slope == pytest.approx(scale * plain.relative_slope, rel=1e-6)
    assert other.width_mmHg == pytest.approx(plain.width_mmHg, rel=1e-5)
    assert other.sd_mmHg == pytest.approx(plain.sd_mmHg, rel=1e-4)


@settings(max_examples=25, deadline=None)
@given(st.floats(-4.0, 4.0), st.floats(-0.5, 0.5), st.integers(0, 1000))
def test_a_mirrored_look_has_a_mirrored_vertex(vertex_mmHg: float, skew: float, seed: int) -> None:
    """Nothing prefers one side: depth turned over gives the vertex and the skew turned over."""
    seen = noisy(law(swept(), vertex_mmHg, skew=skew), 0.01, seed)
    plain = fit_vertex(seen, Shape(WIDTH, skew=0.4), (0.0, 0.5), SWEEP_s, 2.0)
    turned = fit_vertex(seen._replace(depth=1.2 - seen.depth), Shape(WIDTH, skew=-0.4), (0.0, 0.5), SWEEP_s, 2.0)
    assert turned.depth == pytest.approx(1.2 - plain.depth, abs=1e-6)
    assert turned.shape.skew == pytest.approx(-plain.shape.skew, abs=1e-4)
    assert turned.relative_slope == pytest.approx(plain.relative_slope, rel=1e-5)


@pytest.mark.parametrize("noise", [0.01, 0.03])
def test_errors_are_of_the_size_told(noise: float) -> None:
    """Over 150 seeds the 90 % interval of independent noise holds the truth, and is not much too wide."""
    found = [fit_vertex(noisy(law(swept(), 2.0), noise, seed), Shape(WIDTH)) for seed in range(150)]
    errors, sds = np.array([off_mmHg(v) - 2.0 for v in found]), np.array([v.sd_mmHg for v in found])
    assert np.mean(np.abs(errors) < 1.645 * sds) > 0.85
    assert abs(np.mean(errors)) < np.mean(sds) < 4.0 * np.std(errors)


def test_noise_makes_it_less_sure() -> None:
    found = [fit_vertex(noisy(law(swept()), k, 3), Shape(WIDTH)) for k in (0.0, 0.01, 0.03)]
    assert np.all(np.diff([v.sd_mmHg for v in found]) > 0.0) and np.all(np.diff([v.scatter for v in found]) > 0.0)
    assert found[-1].scatter == pytest.approx(0.03, rel=0.4)


@pytest.mark.parametrize("slopes", [np.zeros(30), np.full(30, np.nan), np.full(30, np.inf), -np.ones(30), np.zeros(0),
                                    np.ones(4)])
def test_what_is_no_slope_says_nothing(slopes: np.ndarray) -> None:
    count = len(slopes)
    vertex = fit_vertex(Slopes(np.linspace(-1, 1, count), np.linspace(0.5, 0.6, count), slopes), Shape(WIDTH))
    assert vertex.scatter == math.inf and vertex.relative_slope > 0.0 and vertex.shape == Shape(WIDTH)


def test_slopes_at_one_depth_have_no_vertex() -> None:
    time = np.linspace(-1.0, 1.0, 30)
    assert fit_vertex(Slopes(time, np.full(30, 0.6), np.ones(30)), Shape(WIDTH)).scatter == math.inf
    few = Slopes(time[:6], np.array([0.0] * 5 + [1.0]), np.array([1.0] * 5 + [0.01]))
    assert fit_vertex(few, Shape(WIDTH)).scatter == math.inf


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(-1000, 3000), st.integers(-1000, 1000)), max_size=30))
def test_any_slopes_give_a_vertex_or_infinite_scatter(pairs: list[tuple[int, int]]) -> None:
    depth, slope = np.array([p[0] for p in pairs]) * 1e-3, np.array([p[1] for p in pairs]) * 1e-4
    vertex = fit_vertex(Slopes(np.linspace(-0.6, 0.6, len(pairs)), depth, slope), Shape(WIDTH), (0.0, 1.0), SWEEP_s)
    assert vertex.relative_slope > 0.0 and vertex.width_mmHg > 0.0 and vertex.sd_mmHg >= 0.0
    assert vertex.scatter == math.inf or all(math.isfinite(v) for v in (*vertex[:6], *vertex.shape))
