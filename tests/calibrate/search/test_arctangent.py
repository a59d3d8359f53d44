"""The fit of the arctangent law to rises that follow it."""
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibrate.search.arctangent import ArctangentFit, fit_arctangent
from calibrate.search.staircase import Step

few = settings(max_examples=15)
LAWS = [(0.3, 15.0, 110.0, 65.0), (0.05, 22.0, 150.0, 90.0), (0.1, 9.0, 140.0, 105.0)]


def steps(
    alpha: float, width: float, top: float, foot: float, noise: float = 0.0, seed: int | None = None
) -> list[Step]:
    """Exact rises at twelve pressures; with a seed, each off by some of `noise`."""
    off = np.zeros(12) if seed is None else noise * np.random.default_rng(seed).standard_normal(12)
    found = []
    for k, pressure in enumerate(np.arange(20.0, 200.0, 15.0)):
        rise = alpha * (math.atan((top - pressure) / width) - math.atan((foot - pressure) / width)) / math.pi
        low = 1.0 + alpha * math.atan((foot - pressure) / width) / math.pi
        found.append(Step(float(pressure), rise + off[k], low, low, 0.4, noise, rise, 0.0, np.zeros(1)))
    return found


@pytest.mark.parametrize(("alpha", "width", "top", "foot"), LAWS)
def test_exact_rises_give_the_law_back(alpha: float, width: float, top: float, foot: float) -> None:
    fit = fit_arctangent(steps(alpha, width, top, foot))
    assert fit.middle_mmHg == pytest.approx(0.5 * (top + foot), abs=0.3)
    assert fit.width_mmHg == pytest.approx(width, rel=0.04)
    assert fit.systolic_mmHg - fit.diastolic_mmHg == pytest.approx(top - foot, rel=0.04)
    assert fit.relative_slope == pytest.approx(alpha / (math.pi * width), rel=0.03)
    assert foot < fit.mean_mmHg < fit.middle_mmHg
    assert fit.misfit < 0.2


@few
@given(st.floats(0.05, 5.0))
def test_more_blood_in_the_light_changes_depth_alone(scale: float) -> None:
    """Rises and their noise times a constant: depth follows, pressures and widths stay."""
    plain = steps(*LAWS[0], noise=1e-4)
    fit, other = (fit_arctangent([s._replace(rise=s.rise * k, noise=s.noise * k) for s in plain]) for k in (1.0, scale))
    assert other.depth == pytest.approx(scale * fit.depth, rel=1e-3)
    assert other.middle_mmHg == pytest.approx(fit.middle_mmHg, abs=0.02)
    assert other.width_mmHg == pytest.approx(fit.width_mmHg, rel=1e-3)
    assert other.middle_sd_mmHg == pytest.approx(fit.middle_sd_mmHg, rel=1e-2)


@few
@given(st.floats(-25.0, 40.0))
def test_higher_pressures_move_the_middle_alone(shift: float) -> None:
    """The same rises at pressures all higher by a constant."""
    fit, other = (
        fit_arctangent([s._replace(pressure_mmHg=s.pressure_mmHg + k) for s in steps(*LAWS[0])]) for k in (0.0, shift))
    assert other.middle_mmHg - fit.middle_mmHg == pytest.approx(shift, abs=0.05)
    assert other.width_mmHg == pytest.approx(fit.width_mmHg, rel=5e-3)


@pytest.mark.parametrize(("alpha", "width", "top", "foot"), LAWS)
def test_the_unloaded_depth_lies_where_the_artery_is_half_full(
    alpha: float, width: float, top: float, foot: float
) -> None:
    held = steps(alpha, width, top, foot)
    fit = fit_arctangent(held)
    for step in held[2:7]:
        assert fit.unloaded_depth(step) == pytest.approx(1.0, abs=0.07 * alpha)


def test_noise_makes_it_less_sure() -> None:
    sd = [fit_arctangent(steps(*LAWS[0], noise=n)).middle_sd_mmHg for n in (0.0, 0.003, 0.01, 0.03)]
    assert np.all(np.diff(sd) > 0.0) and sd[-1] > 3.0 * sd[0]


def test_it_is_about_as_sure_as_it_is_right() -> None:
    """Errors of the middle under noise of the size told, over the SD told: not above one, nor far below."""
    noise, ratios = 0.01, []
    for seed in range(40):
        fit = fit_arctangent(steps(*LAWS[0], noise=noise, seed=seed))
        ratios.append((fit.middle_mmHg - 87.5) / fit.middle_sd_mmHg)
    assert 0.15 < np.sqrt(np.mean(np.square(ratios))) < 1.2


def test_what_no_pulse_can_do_is_a_misfit() -> None:
    """A pulsation that comes, goes, and comes again."""
    odd = [s._replace(rise=0.1 if k % 3 == 0 else 0.01) for k, s in enumerate(steps(*LAWS[0]))]
    assert fit_arctangent(odd).misfit > 4.0 > 1.0 > fit_arctangent(steps(*LAWS[0])).misfit


@given(st.floats(-200.0, 200.0))
def test_share_is_odd_and_a_quarter_at_the_width(pressure: float) -> None:
    fit = ArctangentFit(0.3, 15.0, 110.0, 65.0, 1.0, 0.0)
    assert fit.share(15.0) == pytest.approx(0.25)
    assert fit.share(-pressure) == pytest.approx(-float(fit.share(pressure)))
    assert abs(float(fit.share(pressure))) < 0.5
