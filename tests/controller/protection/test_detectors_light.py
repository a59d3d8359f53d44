"""Detectors of light and set point: each fires, stays silent, and is silenced by name."""

import pytest

from controller.protection.detectors_light import (
    LightJump,
    LightJumpState,
    LightRange,
    LightState,
    light_jump_step,
    light_range_step,
)
from tests.controller.protection.detector_bench import QUIET, fired_at

RANGE, POINT = LightState(0, -1.0, 0, False), LightJumpState(0.3, 0.3, 0.3, 0.3, 0.3, 0.3, False)


def alive(k):
    """Light of a finger: never twice the same."""
    return 0.3 + 1e-4 * (k % 7)


CASES = {
    "dark": (light_range_step, LightRange(), RANGE, lambda k: {"light": 0.2}, lambda k: {"light": alive(k) - 0.05}),
    "bright": (light_range_step, LightRange(), RANGE, lambda k: {"light": 0.4}, lambda k: {"light": alive(k) + 0.06}),
    "saturated while filling": (light_range_step, LightRange(), RANGE, lambda k: {"light": 1.0, "clamped_ticks": 0},
                                lambda k: {"light": 0.5 + alive(k), "clamped_ticks": 0}),
    "frozen": (light_range_step, LightRange(), RANGE, lambda k: {"light": 0.3},
               lambda k: {"light": 0.3 + 1e-5 * (k // 250)}),
    "set point too low": (light_jump_step, LightJump(), POINT, lambda k: {"set_point": 0.001},
                          lambda k: {"set_point": 0.3}),
    "set point too high": (light_jump_step, LightJump(), POINT, lambda k: {"set_point": 0.99}, lambda k: {}),
    "wrong sign": (light_jump_step, LightJump(), POINT, lambda k: {"light_slope": -1e-3}, lambda k: {}),
    "set point jumps": (light_jump_step, LightJump(), POINT, lambda k: {"set_point": 0.307 if k > 5 else 0.3},
                        lambda k: {"set_point": 0.3 + 0.003 * (k > 5)}),
    "light jumps up": (light_jump_step, LightJump(), POINT, lambda k: {"light": 0.325 if k > 5 else 0.3},
                       lambda k: {"light": 0.315 if k > 5 else 0.3}),
    "light jumps down": (light_jump_step, LightJump(), POINT, lambda k: {"light": 0.275 if k > 5 else 0.3},
                         lambda k: {"light": 0.3 + 0.004 * min(k, 5)}),
}


@pytest.mark.parametrize("name", CASES)
def test_it_fires_and_stays_silent(name):
    step, part, start, wrong, right = CASES[name]
    assert fired_at(step, part, start, 1000, wrong) >= 0
    assert fired_at(step, part, start, 1000, right) == -1
    assert fired_at(step, part._replace(enabled=False), start, 1000, wrong) == -1


def test_outside_the_clamp_the_set_point_is_not_looked_at():
    assert fired_at(light_jump_step, LightJump(), POINT, 100, lambda k: {"set_point": 0.0, "clamped_ticks": 0}) == -1


@pytest.mark.parametrize(("clamped_ticks", "light", "out"), [
    (0, 0.125, False), (0, 0.875, False), (0, 0.124, True), (0, 0.876, True),
    (1000, 0.25, False), (1000, 0.75, False), (1000, 0.249, True), (1000, 0.751, True),
])
def test_light_on_the_edge_of_its_range_is_inside(clamped_ticks, light, out):
    """An eighth and seven eighths of full scale; in the clamp half and one and a half of the set point."""
    part = LightRange(lowest=0.125, highest=0.875, below=0.5, above=1.5)
    seen = QUIET._replace(set_point=0.5, light=light, clamped_ticks=clamped_ticks)
    assert (light_range_step(part, RANGE, seen).out_ticks > 0) == out


def test_a_set_point_on_the_edge_of_its_range_and_of_a_jump_is_allowed():
    part = LightJump(lowest=0.25, highest=0.75, jump_mmHg=8.0, light_jump_mmHg=16.0)
    for point, moved, wrong in ((0.25, 0.0, False), (0.75, 0.0, False), (0.249, 0.0, True), (0.751, 0.0, True),
                                (0.5, 0.125, False), (0.5, -0.125, False), (0.5, 0.126, True)):
        state = POINT._replace(set_point=point - moved, first=point, second=point, third=point, fourth=point,
                               fifth=point)
        seen = QUIET._replace(set_point=point, light=point, light_slope=2.0**-6)
        assert light_jump_step(part, state, seen).fires == wrong
