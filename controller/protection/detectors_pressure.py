"""Detectors that watch pressure: limit, rate, exposure, and the two transducers against each other.

Each is a NamedTuple of thresholds, one of state, and a pure step; its state says whether it fires.
"""
from __future__ import annotations

from typing import Annotated, NamedTuple

from controller.protection.watched import Slow, Watched, lagged, lasted, slow_lag, timer
from plant.declare import Unsigned, compiled, quantity, switch
from plant.numerics.vector import choose

Enabled = Annotated[bool, switch("acts", "scenario")]


class PressureLimit(NamedTuple):
    """Reading above a limit for longer than the hold time. Reaction: vent and latch."""

    enabled: Enabled = True
    limit_mmHg: Annotated[float, quantity("mmHg", 20, 2000, "highest reading allowed", "invented")] = 280.0
    hold_s: Annotated[float, quantity("s", 0, 10, "time above it before it fires", "invented")] = 0.03


class LimitState(NamedTuple):
    """How long above the limit."""

    above_ticks: Unsigned
    fires: bool


@compiled
def pressure_limit_step(part: PressureLimit, state: LimitState, seen: Watched) -> LimitState:
    """One tick; active in every mode."""
    above = timer(state.above_ticks, seen.reading_mmHg > part.limit_mmHg)
    return LimitState(above, part.enabled & lasted(above, part.hold_s, seen.period_s))


class PressureRate(NamedTuple):
    """Pressure that rises or falls faster than any pulse, in the clamp. Reaction: vent and latch.

    A pulse of 90 mmHg that rises within 70 ms is below 2000 mmHg/s, and a weak finger's noise adds to it; a valve wide
    open is an order above.
    """

    enabled: Enabled = True
    limit_mmHg_s: Annotated[float, quantity("mmHg/s", 10, 1e6, "fastest change allowed", "invented")] = 8000.0
    memory_s: Annotated[float, quantity("s", 1e-4, 1, "time constant of the rate's filter", "invented")] = 0.003
    settle_s: Annotated[float, quantity("s", 0, 60, "time in the clamp before it looks", "invented")] = 0.05


class RateState(NamedTuple):
    """Last reading [mmHg] and filtered rate [mmHg/s]."""

    reading_mmHg: float
    rate_mmHg_s: float
    fires: bool


@compiled
def pressure_rate_step(part: PressureRate, state: RateState, seen: Watched) -> RateState:
    """One tick; active in the clamp."""
    now = (seen.reading_mmHg - state.reading_mmHg) / seen.period_s
    rate = choose(seen.clamped_ticks > 0, lagged(state.rate_mmHg_s, now, part.memory_s, seen.period_s), 0.0)
    fast = (abs(rate) > part.limit_mmHg_s) & lasted(seen.clamped_ticks, part.settle_s, seen.period_s)
    return RateState(seen.reading_mmHg, rate, part.enabled & fast)


class Exposure(NamedTuple):
    """Pressure–time integral above an allowance, forgotten slowly. Reaction: vent and latch.

    dE/dt = max(p − allowance, 0) − E/τ
    """

    enabled: Enabled = True
    allowance_mmHg: Annotated[float, quantity("mmHg", 0, 1000, "pressure that does not count", "invented")] = 240.0
    limit_mmHg_s: Annotated[float, quantity("mmHg·s", 1, 1e6, "largest integral allowed", "invented")] = 300.0
    memory_s: Annotated[float, quantity("s", 0.1, 1e5, "time constant of forgetting", "invented")] = 60.0


class ExposureState(NamedTuple):
    """The integral [mmHg·s]."""

    integral_mmHg_s: Slow
    fires: bool


@compiled
def exposure_step(part: Exposure, state: ExposureState, seen: Watched) -> ExposureState:
    """One tick; active in every mode."""
    excess = max(seen.reading_mmHg - part.allowance_mmHg, 0.0)
    integral = slow_lag(state.integral_mmHg_s, excess * part.memory_s, part.memory_s, seen.period_s)
    return ExposureState(integral, part.enabled & (integral.value > part.limit_mmHg_s))


class Redundancy(NamedTuple):
    """Redundancy check: mean distance of both transducers. Reaction: vent and latch; nobody knows which is right."""

    enabled: Enabled = True
    limit_mmHg: Annotated[float, quantity("mmHg", 0.5, 200, "largest mean distance allowed", "invented")] = 5.0
    memory_s: Annotated[float, quantity("s", 0.001, 60, "time constant of the mean", "invented")] = 0.2
    hold_s: Annotated[float, quantity("s", 0, 10, "time above it before it fires", "invented")] = 0.1


class RedundancyState(NamedTuple):
    """Mean distance [mmHg] and ticks above the limit."""

    distance_mmHg: float
    above_ticks: Unsigned
    fires: bool


@compiled
def redundancy_step(part: Redundancy, state: RedundancyState, seen: Watched) -> RedundancyState:
    """One tick; active in every mode."""
    apart = abs(seen.reading_mmHg - seen.second_mmHg)
    distance = lagged(state.distance_mmHg, apart, part.memory_s, seen.period_s)
    above = timer(state.above_ticks, distance > part.limit_mmHg)
    return RedundancyState(distance, above, part.enabled & lasted(above, part.hold_s, seen.period_s))


class SupplyRange(NamedTuple):
    """Reservoir pressure outside its band. Reaction: warn; the clamp still holds, but not with the margins it had."""

    enabled: Enabled = True
    lowest_mmHg: Annotated[
        float, quantity("mmHg", 0, 5000, "lowest reservoir pressure; 0: 0.88 of the regulated one", "follows the rig")
    ] = 0.0
    highest_mmHg: Annotated[
        float, quantity("mmHg", 0, 5000, "highest; 0: 1.12 of the regulated one", "follows the rig")
    ] = 0.0
    hold_s: Annotated[float, quantity("s", 0, 60, "time outside before it fires", "invented")] = 0.2


class SupplyState(NamedTuple):
    """How long outside the band."""

    out_ticks: Unsigned
    fires: bool


@compiled
def supply_range_step(part: SupplyRange, state: SupplyState, seen: Watched) -> SupplyState:
    """One tick; active in the clamp. A highest pressure of 0 is no limit."""
    outside = (part.highest_mmHg > 0.0) & (seen.supply_mmHg > part.highest_mmHg)
    outside = outside | (seen.supply_mmHg < part.lowest_mmHg)
    out = timer(state.out_ticks, (seen.clamped_ticks > 0) & outside)
    return SupplyState(out, part.enabled & lasted(out, part.hold_s, seen.period_s))
