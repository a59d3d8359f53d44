"""Refit of the staircase with a recorded beat: holds made from the arctangent law itself give its parameters back."""
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibrate.search.arctangent import ArctangentFit
from calibrate.search.waveform_fit import (
    Problem,
    Stretch,
    WaveformFit,
    fit_waveform,
    level_belief,
    pose,
    share_of,
    share_rate,
    slow_covariance,
)
from plant.pressure.synthetic import STEADY, SyntheticPressure, synthesise

TICK = 1e-3
STEPS_mmHg = (40.0, 80.0, 120.0, 160.0, 100.0, 60.0, 88.0)


def made(
    alpha: float = 0.05, width: float = 15.0, offset: float = 3.0, base: float = 1.5, rate: float = 70.0,
    pressure: SyntheticPressure = STEADY, noise: float = 0.0, skew: float = 0.4,
) -> tuple[list[Stretch], Stretch]:
    """Holds and a clamp by the law of two arctangents, every hold on a baseline of its own; p0 = 5 mmHg."""
    arterial = synthesise(pressure._replace(rate_per_min=rate), TICK, 20.0, 3).pressure_mmHg
    random = np.random.default_rng(1)
    holds = []
    for k, cuff in enumerate(STEPS_mmHg):
        at = slice(2000 * k + 400, 2000 * k + 2000)
        depth = base + 0.01 * k + alpha * share_of((arterial[at] - cuff - 5.0) / width, skew)
        holds.append(Stretch(at.start * TICK, depth + noise * random.standard_normal(1600), np.full(1600, cuff)))
    at = slice(14_900, 17_800)
    held = base + alpha * float(share_of(np.array(offset / width), skew))
    return holds, Stretch(at.start * TICK, np.full(2900, held), arterial[at] - 5.0 - offset)


def coarse(alpha: float = 0.06, width: float = 17.0) -> ArctangentFit:
    return ArctangentFit(alpha, width, 118.0, 72.0, 2.0, 1.0)


def fitted(**changes: float) -> WaveformFit:
    fit = fit_waveform(*made(**changes), coarse(), TICK)
    assert fit is not None
    return fit


@given(st.floats(-50, 50), st.floats(-0.3, 1.4))
def test_the_law_has_two_widths_whose_logarithms_differ_by_the_skew(z: float, skew: float) -> None:
    """F runs over one from an empty artery to a full one, and its compliance is half at either side's width."""
    at = np.array([-1e9, 0.0, 1e9, z, z + 1e-5, z - 1e-5])
    empty, middle, full, _, above, below = share_of(at, skew)
    assert middle == 0.0 and full - empty == pytest.approx(1.0, abs=1e-6)
    assert full / -empty == pytest.approx(math.exp(skew), rel=1e-6)
    assert (above - below) / 2e-5 == pytest.approx(float(share_rate(at, skew)[3]), rel=1e-4)
    sides = np.array([0.0, math.exp(0.5 * skew), -math.exp(-0.5 * skew)])
    peak, *halves = share_rate(sides, skew)
    assert halves == pytest.approx([0.5 * peak] * 2)


@pytest.mark.parametrize(("skew", "low", "high"), [(0.0, -0.2, 0.35), (0.4, 0.15, 0.65), (1.0, 0.6, 1.2)])
def test_the_skew_is_told_by_the_beats(skew: float, low: float, high: float) -> None:
    assert low < fitted(skew=skew).skew < high


@settings(max_examples=8, deadline=None)
@given(st.floats(-6, 6), st.floats(9, 25), st.floats(0.04, 0.08), st.floats(50, 120))
def test_the_law_is_found_again(offset: float, width: float, alpha: float, rate: float) -> None:
    fit = fitted(offset=offset, width=width, alpha=alpha, rate=rate)
    # a shift of the clamp's recorded beat against those of the holds: weakly told (1.24 mmHg over 46 draws), not used
    assert fit.offset_mmHg == pytest.approx(offset, abs=1.8)
    assert fit.width_mmHg == pytest.approx(width, rel=0.15)
    assert fit.depth == pytest.approx(alpha, rel=0.1)
    # what the search uses: the level of the unloaded artery in the last hold, here to a fraction of a mmHg
    wrong = (fit.unloaded_depth[-1] - (1.5 + 0.01 * 6)) / fit.relative_slope
    assert abs(wrong) < 0.6


def test_the_sign_of_the_offset() -> None:
    """A clamp above the unloaded volume (larger artery, lower reading) has a positive offset."""
    assert fitted(offset=6.0).offset_mmHg > 3.0
    assert fitted(offset=-6.0).offset_mmHg < -3.0


@settings(max_examples=4, deadline=None)
@given(st.floats(-1.0, 2.0))
def test_scaling_the_light_changes_nothing(more: float) -> None:
    """Light times a factor is optical depth plus a constant: only the level of the unloaded artery moves, by that."""
    here, there = fitted(), fitted(base=1.5 + more)
    assert there.offset_mmHg == pytest.approx(here.offset_mmHg, abs=1e-3)
    assert there.width_mmHg == pytest.approx(here.width_mmHg, rel=1e-4)
    assert there.unloaded_depth - here.unloaded_depth == pytest.approx(more, abs=1e-5)


def test_all_depths_larger_by_a_factor_leave_the_pressures() -> None:
    """Twice the blood under the same pressures: α doubles, everything in mmHg stays."""
    here = fitted()
    there = fit_waveform(*made(alpha=0.1), coarse(0.12), TICK)
    assert there is not None
    assert there.depth == pytest.approx(2.0 * here.depth, rel=1e-3)
    assert there.offset_mmHg == pytest.approx(here.offset_mmHg, abs=0.02)


def test_respiration_costs_certainty_only() -> None:
    breathing = STEADY._replace(respiration_mmHg=4.0, respiration_per_min=16.0, wave_mmHg=2.0)
    fit = fit_waveform(*made(pressure=breathing), coarse(), TICK)
    assert fit is not None
    wrong = (fit.unloaded_depth[-1] - 1.56) / fit.relative_slope
    assert abs(wrong) < 3.0 * fit.unloaded_sd_mmHg[-1]


def test_noise_makes_the_fit_less_sure() -> None:
    assert fitted(noise=8e-3).unloaded_sd_mmHg[-1] > 1.2 * fitted().unloaded_sd_mmHg[-1]


def test_balanced_pressure_has_no_mean_share() -> None:
    """At that cuff pressure the mean of F over the beats of the last hold is nothing."""
    fit = fitted()
    arterial = synthesise(STEADY._replace(rate_per_min=70.0), TICK, 20.0, 3).pressure_mmHg[12_400:14_000]
    share = np.mean(share_of((arterial - fit.balanced_mmHg - 5.0) / 15.0, 0.4))
    assert abs(share) < 0.02


def test_no_whole_beat_is_no_fit() -> None:
    holds, clamp = made(rate=40.0)
    short = Stretch(clamp.start_s, clamp.depth[:900], clamp.reading_mmHg[:900])
    assert fit_waveform(holds, short, coarse(), TICK) is None
    assert fit_waveform(holds[:2], clamp, coarse(), TICK) is None


def posed() -> Problem:
    problem = pose(*made(), coarse(), TICK)
    assert problem is not None
    problem.place(problem.start)
    return problem


def test_derivatives_are_those_of_the_residuals() -> None:
    problem = posed()
    x = problem.start + 0.3 * problem.scale * np.random.default_rng(2).standard_normal(len(problem.start))
    exact = problem.jacobian(x)
    for k in range(len(x)):
        step = np.zeros(len(x))
        step[k] = 1e-5 * problem.scale[k]
        near = (problem.residuals(x + step) - problem.residuals(x - step)) / (2.0 * step[k])
        assert exact[:, k] == pytest.approx(near, rel=1e-4, abs=1e-4 * float(np.max(np.abs(near))))


def test_level_belief_returns_to_what_was_recorded() -> None:
    """At the middle of a recorded beat the level is known; far from it only as well as respiration and waves allow."""
    problem = posed()
    _, clamp = made()
    when = clamp.start_s + np.array([problem.beat.middle_s[-1], -400.0])
    level, covariance = level_belief(when, problem.beat, clamp, TICK)
    assert level[0] == pytest.approx(problem.beat.level_mmHg[-1], abs=0.3)
    assert covariance[0, 0] < 0.5 < 9.0 < covariance[1, 1]


@given(st.lists(st.floats(0, 100), min_size=2, max_size=8, unique=True))
def test_slow_covariance_is_one(times: list[float]) -> None:
    """Symmetric, and no combination of levels has a negative variance."""
    matrix = slow_covariance(np.array(times), np.array(times))
    assert matrix == pytest.approx(matrix.T)
    assert np.min(np.linalg.eigvalsh(matrix)) > -1e-8 * np.max(matrix)
