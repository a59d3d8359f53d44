"""The fit of the arctangent law to rises that follow it."""
import math

import numpy as np
import pytest

from calibrate.arctangent import ArctangentFit, fit_arctangent
from calibrate.staircase import Step


def steps(alpha: float, width: float, top: float, foot: float, noise: float = 0.0) -> list[Step]:
    found = []
    for pressure in np.arange(20.0, 200.0, 15.0):
        rise = alpha * (math.atan((top - pressure) / width) - math.atan((foot - pressure) / width)) / math.pi
        low = 1.0 + alpha * math.atan((foot - pressure) / width) / math.pi
        found.append(Step(float(pressure), rise, low, low, 0.4, noise, rise, 0.0, np.zeros(1)))
    return found


@pytest.mark.parametrize(("alpha", "width", "top", "foot"), [(0.3, 15.0, 110.0, 65.0), (0.05, 22.0, 150.0, 90.0)])
def test_exact_rises_give_the_law_back(alpha: float, width: float, top: float, foot: float) -> None:
    fit = fit_arctangent(steps(alpha, width, top, foot))
    assert fit.middle_mmHg == pytest.approx(0.5 * (top + foot), abs=0.5)
    assert fit.width_mmHg == pytest.approx(width, rel=0.1)
    assert fit.relative_slope == pytest.approx(alpha / (math.pi * width), rel=0.1)
    assert fit.misfit < 0.2


def test_the_unloaded_depth_lies_where_the_artery_is_half_full() -> None:
    held = steps(0.3, 15.0, 110.0, 65.0)
    fit = fit_arctangent(held)
    for step in held[2:7]:
        assert fit.unloaded_depth(step) == pytest.approx(1.0, abs=0.02)


def test_noise_makes_it_less_sure() -> None:
    sharp = fit_arctangent(steps(0.3, 15.0, 110.0, 65.0))
    vague = fit_arctangent(steps(0.3, 15.0, 110.0, 65.0, noise=0.02))
    assert vague.middle_sd_mmHg > 1.5 * sharp.middle_sd_mmHg


def test_share_is_odd_and_half_at_the_ends() -> None:
    fit = ArctangentFit(0.3, 15.0, 110.0, 65.0, 1.0, 0.0)
    assert fit.share(15.0) == pytest.approx(0.25) and fit.share(-15.0) == pytest.approx(-0.25)
    assert fit.mean_mmHg == pytest.approx(83.0)
