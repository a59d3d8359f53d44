"""Margins told by the linear loop against the nonlinear simulation that is pushed until it just oscillates.

Nothing here is a saved number: the simulated plant knows no margins, and the margins know no simulation.
"""
import math
from collections.abc import Callable

import numpy as np
import pytest

from controller.law import design
from controller.loop import build_loop, closed_loop_poles, exact_delay_margin, loop_margins
from experiments.rig import Rig
from experiments.settled import nudged
from experiments.steps import steps_a_tick
from plant.operating_point import OperatingPoint, clamp_point

KICK_mmHg = 1e-4  # small enough for every curve to be its tangent
TICKS = 1800
# valve, tube sections (0: none), flow inverse; every one rests where its valve's gain is smooth (bleed or leak)
KINDS = (("flow", 0, False), ("flow", 1, True), ("flow", 3, True), ("pressure", 0, False), ("pressure", 8, False))
EACH = 4


def growth(rig: Rig, point: OperatingPoint, gain: float, added_s: float, steps: int) -> float:
    """Growth rate per tick of the error's oscillation at a gain factor and an added dead time; below 0 it dies out."""
    timing = rig.timing._replace(dead_time_s=rig.timing.dead_time_s + added_s)
    controller = rig.controller._replace(kp=rig.controller.kp * gain)
    pushed = rig._replace(timing=timing, controller=controller)
    error = nudged(pushed, point, design(controller, timing.period_s), TICKS, KICK_mmHg, 1, steps)["error_mmHg"]
    if len(error) < TICKS or np.max(np.abs(error)) > 500 * KICK_mmHg:
        return 1.0
    wiggle = np.diff(error, 2)  # the oscillation without the slow return of wall and veins
    early, late = (math.sqrt(float(np.mean(wiggle[a : a + 400] ** 2))) for a in (600, 1300))
    if early < 1e-6 * float(np.max(np.abs(wiggle))):
        return -1.0
    return math.log(max(late, 1e-300) / early) / 700


def boundary(rate: Callable[[float], float], low: float, high: float) -> float:
    """Where a rate changes sign, to 0.05 %."""
    while high - low > 5e-4 * high:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if rate(middle) > 0.0 else (middle, high)
    return 0.5 * (low + high)


@pytest.mark.parametrize("index", range(EACH))
@pytest.mark.parametrize("kind", KINDS, ids=lambda k: f"{k[0]}-{k[1]}{'-inverse' if k[2] else ''}")
def test_simulation_oscillates_where_the_margins_say(random_rig, kind, index) -> None:
    """Gain margin within 3 %, delay margin within 2 %, on random rigs whose twin is smooth at the operating point.

    The definition of both margins (Åström & Murray; any textbook): the factor, and the dead time, at which the loop
    just oscillates.
    """
    valve, sections, inverse = kind
    random = np.random.default_rng([index, sections, valve == "flow"])
    rig, mean_mmHg = random_rig(random, valve, sections, inverse, True, (1.8, 3.5))
    point = clamp_point(rig.plant, mean_mmHg, rig.tone.level)
    assert point.smooth
    steps, period = steps_a_tick(rig, point), rig.timing.period_s
    loop = build_loop(rig.plant, point, "fill", rig.timing, rig.stage, design(rig.controller, period))
    found = loop_margins(loop)
    assert found.stable and abs(closed_loop_poles(loop)[0]) < 1.0
    assert np.max(np.abs(nudged(rig, point, loop.coefficients, 200, 0.0, 1, steps)["error_mmHg"])) < 1e-9

    gain = 1.0
    while growth(rig, point, 1.1 * gain, 0.0, steps) < 0.0:
        gain *= 1.1
    gain = boundary(lambda factor: growth(rig, point, factor, 0.0, steps), gain, 1.1 * gain)
    assert gain == pytest.approx(found.gain_margin, rel=0.03)

    delay = exact_delay_margin(loop, found.delay_margin_s)
    coarse = max(0.5 * period, 0.05 * delay)  # a coarse search that knows the answer's size, not the answer
    added = 0.0
    while growth(rig, point, 1.0, added + coarse, steps) < 0.0:
        added += coarse
        assert added < 3.0 * delay
    added = boundary(lambda extra: growth(rig, point, 1.0, extra, steps), added, added + coarse)
    assert added == pytest.approx(delay, rel=0.02)
