"""Detectors that watch light and set point: light out of range or frozen, a set point that cannot be."""
from __future__ import annotations

from typing import Annotated, NamedTuple

from controller.protection.detectors_pressure import Enabled
from controller.protection.watched import Watched, lasted, timer
from plant.declare import Unsigned, compiled, quantity
from plant.numerics.vector import opposite

NOISE = 60.0  # noise of a sample that a jump of two sums of three must exceed: sixteen of its own SD


class LightRange(NamedTuple):
    """Light beyond what a finger in the clamp can show, or the very same sample for too long. Reaction: hold.

    A pulse moves the light by some percent; twice the set point is no finger.
    """

    enabled: Enabled = True
    lowest: Annotated[float, quantity("1", 0, 1, "darkest sample, share of full scale", "invented")] = 0.003
    highest: Annotated[float, quantity("1", 0, 1, "brightest sample, share of full scale", "invented")] = 0.985
    below: Annotated[float, quantity("1", 0, 1, "darkest light in the clamp, share of the set point", "invented")] = 0.8
    above: Annotated[
        float, quantity("1", 1, 100, "brightest light in the clamp, share of the set point", "invented")
    ] = 1.25
    hold_s: Annotated[float, quantity("s", 0, 10, "time out of range before it fires", "invented")] = 0.02
    frozen_s: Annotated[float, quantity("s", 0.001, 60, "time without any change of the sample", "invented")] = 0.3


class LightState(NamedTuple):
    """Ticks out of range, last sample, ticks since it changed."""

    out_ticks: Unsigned
    light: float
    same_ticks: Unsigned
    fires: bool


@compiled
def light_range_step(part: LightRange, state: LightState, seen: Watched) -> LightState:
    """One tick. Absolute range and frozen samples count in every mode but venting, the relative range in the clamp."""
    light = seen.light
    out = (light < part.lowest) | (light > part.highest)
    strange = (light < part.below * seen.set_point) | (light > part.above * seen.set_point)
    out = out | ((seen.clamped_ticks > 0) & strange)
    out_ticks = timer(state.out_ticks, out)
    same_ticks = timer(state.same_ticks, light == state.light)
    fires = lasted(out_ticks, part.hold_s, seen.period_s) | lasted(same_ticks, part.frozen_s, seen.period_s)
    return LightState(out_ticks, light, same_ticks, part.enabled & fires)


class LightJump(NamedTuple):
    """A jump of light, which makes a set point void, or a set point that jumps or cannot be. Reaction: recalibrate.

    The artery is too slow, and the loop too good, for a jump of light within a few ticks: emitter, detector, cuff or
    surroundings have changed, and the set point with them.
    """

    enabled: Enabled = True
    lowest: Annotated[float, quantity("1", 0, 1, "least set point, share of full scale", "invented")] = 0.005
    highest: Annotated[float, quantity("1", 0, 1, "greatest set point, share of full scale", "invented")] = 0.95
    jump_mmHg: Annotated[
        float, quantity("mmHg", 0.1, 1000, "largest move of the set point from tick to tick", "invented")
    ] = 6.0
    light_jump_mmHg: Annotated[
        float, quantity("mmHg", 1, 1000, "largest change of light from three ticks to three, as mmHg", "invented")
    ] = 20.0
    settle_s: Annotated[float, quantity("s", 0, 60, "time in the clamp before it looks for jumps", "invented")] = 0.05


class LightJumpState(NamedTuple):
    """Last set point, and the last five samples of light, newest first."""

    set_point: float
    first: float
    second: float
    third: float
    fourth: float
    fifth: float
    fires: bool


@compiled
def light_jump_step(part: LightJump, state: LightJumpState, seen: Watched) -> LightJumpState:
    """One tick; active in the clamp."""
    slope = seen.light_slope
    void = opposite((part.lowest <= seen.set_point) & (seen.set_point <= part.highest)) | (slope <= 0.0)
    moved = abs(seen.set_point - state.set_point) > part.jump_mmHg * slope
    now = seen.light + state.first + state.second  # means of three: a weak signal's noise is no jump
    before = state.third + state.fourth + state.fifth
    jumped = abs(now - before) > 3.0 * part.light_jump_mmHg * slope + NOISE * seen.light_noise
    steady = lasted(seen.clamped_ticks, part.settle_s, seen.period_s) & (slope > 0.0)
    fires = (seen.clamped_ticks > 0) & (void | (steady & (moved | jumped)))
    return LightJumpState(
        seen.set_point, seen.light, state.first, state.second, state.third, state.fourth, part.enabled & fires
    )
