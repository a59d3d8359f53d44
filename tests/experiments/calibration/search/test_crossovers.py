"""Crossovers of many fingers by the slope that their error is divided by."""
import math

import numpy as np
import pytest
from scipy.optimize import brentq

from controller.margins.loop import build_loop
from controller.tick.law import design
from experiments.calibration.search.crossovers import (
    MIDDLE_OF,
    Crossover,
    Spread,
    crossover_of,
    middle_slope,
    spread_of,
)
from experiments.check.pictures_loop import loop_response
from experiments.rigs.rig import clamp
from experiments.subjects.finger import finger_pulsation, on_finger
from experiments.subjects.population import sample_fingers

FINGERS = sample_fingers(6)


def point_of(wrist, finger):
    rig = on_finger(wrist, finger)
    return rig, clamp(rig, 90.0, finger.tone.level), design(rig.controller, rig.timing.period_s)


@pytest.mark.parametrize("share", [0.5, 1.0, 1.5])
def test_the_loop_gain_is_one_at_the_crossover(wrist, share):
    """Found by bisection on the loop's own response."""
    rig, point, coefficients = point_of(wrist, FINGERS[0])
    found = crossover_of(rig, point, coefficients, point.light_slope / share)
    loop = build_loop(rig.plant, point, "fill", rig.timing, rig.stage, coefficients, point.light_slope / share)

    def excess(frequency_Hz: float) -> float:
        return float(np.abs(loop_response(loop, np.array([frequency_Hz]))[0])) - 1.0

    assert found.stable and excess(0.9 * found.frequency_Hz) > 0.0
    assert found.frequency_Hz == pytest.approx(brentq(excess, 1.0, 100.0), rel=1e-4)


def test_with_its_own_slope_a_finger_is_like_any_other(wrist):
    """The light's gain drops out: with the true slopes the crossovers of very unlike fingers lie close together."""
    true, fixed, slopes = [], [], []
    for finger in FINGERS:
        rig, point, coefficients = point_of(wrist, finger)
        slopes.append(point.light_slope)
        true.append(crossover_of(rig, point, coefficients, point.light_slope))
        fixed.append(crossover_of(rig, point, coefficients, slopes[0]))
    assert max(slopes) / min(slopes) > 3.0
    assert spread_of(true).sd_log < 0.15 and spread_of(fixed).sd_log > 3.0 * spread_of(true).sd_log
    assert true[0] == fixed[0]


def test_another_emitter_changes_nothing_of_a_loop_that_is_normalised(wrist):
    light = wrist.plant.light._replace(emitter=0.5, ambient=0.0)
    dim = wrist._replace(plant=wrist.plant._replace(light=light))
    bright = wrist._replace(plant=wrist.plant._replace(light=light._replace(emitter=1.0)))
    found = []
    for rig in (dim, bright):
        point = clamp(rig, 90.0, 0.0)
        found.append(crossover_of(rig, point, design(rig.controller, 1e-3), point.light_slope).frequency_Hz)
    assert found[0] == pytest.approx(found[1], rel=1e-9)


def test_the_middle_slope_parts_the_first_fingers_in_half(wrist):
    slope = middle_slope(wrist, "old", 3)
    below = [finger_pulsation(f).light_slope < slope for f in sample_fingers(MIDDLE_OF, "old", 3)]
    assert sum(below) == MIDDLE_OF // 2
    drive = wrist.plant.light.emitter
    double = wrist._replace(plant=wrist.plant._replace(light=wrist.plant.light._replace(emitter=2 * drive)))
    assert middle_slope(double, "old", 3) == pytest.approx(2 * slope, rel=1e-12)


def test_a_spread_by_hand():
    """exp(k) for k = −1, 0, 1 has a logarithm of SD 1; unstable loops count, loops without a crossover do not."""
    loops = [Crossover(math.exp(k), k < 1) for k in (-1, 0, 1)] + [Crossover(math.nan, False)]
    found = spread_of(loops)
    assert (found.loops, found.unstable, found.without) == (3, 2, 1)
    assert found.sd_log == pytest.approx(1.0, rel=1e-12) and math.exp(-1) < found.low_Hz < 1.0 < found.high_Hz < math.e
    assert found.ratio == found.high_Hz / found.low_Hz
    alone = spread_of([Crossover(30.0, True)])
    assert alone.loops == 1 and math.isnan(alone.sd_log) and math.isnan(alone.ratio)
    assert isinstance(spread_of([]), Spread)
