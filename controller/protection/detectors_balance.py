"""Detectors of what must add up: the clamp's error, and the air that is used, each against the pulsation."""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

from controller.protection.detectors_pressure import Enabled
from controller.protection.watched import Watched, lagged, lasted, noise_mmHg, timer
from plant.declare import Unsigned, compiled, quantity
from plant.numerics.integrate import selected

NOMINAL_mmHg = 90.0  # cuff pressure at which a bleed is given


class Following(NamedTuple):
    """Error of the clamp in the band of the pulse, as a share of the pulsation. Reaction: recalibrate (gain included).

    A loop with the gain it was designed for leaves the share |S| of every wave; one with too little, or one that swings
    slowly, leaves more. Root mean squares over a second; the pulsation counts between two bounds, so that neither a
    weak pulse nor a pulsation that is itself the swing hides anything.
    """

    enabled: Enabled = True
    share: Annotated[
        float, quantity("1", 0, 10, "largest share; 0: a multiple of the rig's own |S|", "follows the rig")
    ] = 0.0
    low_Hz: Annotated[float, quantity("Hz", 0.05, 10, "lower corner of the band", "invented")] = 0.5
    high_Hz: Annotated[float, quantity("Hz", 1, 500, "upper corner, twice", "invented")] = 12.0
    memory_s: Annotated[float, quantity("s", 0.05, 60, "time constant of the mean squares", "invented")] = 1.0
    least_mmHg: Annotated[float, quantity("mmHg", 0.1, 100, "least pulsation that counts, rms", "invented")] = 4.0
    most_mmHg: Annotated[float, quantity("mmHg", 0.1, 400, "largest pulsation that counts, rms", "invented")] = 25.0
    settle_s: Annotated[float, quantity("s", 0, 60, "time in the clamp before it looks", "invented")] = 2.0
    hold_s: Annotated[float, quantity("s", 0, 10, "time above it before it fires", "invented")] = 2.0
    noise_times: Annotated[
        float, quantity("1", 0, 1000, "allowed for noise, over that of a sample: it drives the valve", "invented")
    ] = 15.0
    noise_most_mmHg: Annotated[
        float, quantity("mmHg", 0, 100, "most that is allowed for noise", "invented")
    ] = 8.0


class FollowingState(NamedTuple):
    """Error behind one and two lags and its slow part [mmHg], its mean square in the band, slow part of the reading
    [mmHg] and mean square of the rest [mmHg²], ticks above the limit.
    """

    once_mmHg: float
    twice_mmHg: float
    slow_mmHg: float
    error_square: float
    mean_mmHg: float
    pulse_square: float
    above_ticks: Unsigned
    fires: bool


@compiled
def following_step(part: Following, state: FollowingState, seen: Watched) -> FollowingState:
    """One tick; active in the clamp."""
    period, fast, slowly = seen.period_s, 1.0 / (2.0 * math.pi * part.high_Hz), 1.0 / (2.0 * math.pi * part.low_Hz)
    once = lagged(state.once_mmHg, seen.error_mmHg, fast, period)
    twice = lagged(state.twice_mmHg, once, fast, period)
    slow = lagged(state.slow_mmHg, twice, slowly, period)
    square = lagged(state.error_square, (twice - slow) * (twice - slow), part.memory_s, period)
    mean = lagged(state.mean_mmHg, seen.reading_mmHg, slowly, period)
    pulse = seen.reading_mmHg - mean
    pulse_square = lagged(state.pulse_square, pulse * pulse, part.memory_s, period)
    pulsation = min(max(math.sqrt(pulse_square), part.least_mmHg), part.most_mmHg)
    left = part.share * pulsation
    noise = min(part.noise_times * noise_mmHg(seen), part.noise_most_mmHg)
    loud = (square > left * left + noise * noise) & lasted(seen.clamped_ticks, part.settle_s, seen.period_s)
    above = timer(state.above_ticks, loud)
    fires = part.enabled & lasted(above, part.hold_s, period)
    after = FollowingState(once, twice, slow, square, mean, pulse_square, above, fires)
    idle = FollowingState(0.0, 0.0, 0.0, 0.0, seen.reading_mmHg, 0.0, 0, False)
    new: FollowingState = selected((seen.clamped_ticks > 0) & (part.share > 0.0), after, idle)
    return new


class AirUse(NamedTuple):
    """Air that leaves the reservoir, against what the reading's own rises and the bleed explain. Reaction: warn.

        used = q_pump − C_s dp_s/dt,    explained = max(C dp/dt + q_bleed √(p/90 mmHg), 0)
    More is a leak or a pump that does not deliver; less is a reading that swings where the cuff does not. A noisy light
    has a valve fill and vent in turn, too fast for the reading to tell: the limit grows with such demand.
    """

    enabled: Enabled = True
    cuff_mL_mmHg: Annotated[
        float, quantity("mL/mmHg", 0, 100, "air per pressure behind the valve (C); 0: from the rig", "follows the rig")
    ] = 0.0
    reservoir_mL_mmHg: Annotated[
        float, quantity("mL/mmHg", 0, 1e4, "air per pressure in the reservoir (C_s); 0: the rig's", "follows the rig")
    ] = 0.0
    bleed_mL_s: Annotated[
        float, quantity("mL/s", 0, 1000, "quiescent bleed at 90 mmHg; 0: from the rig", "follows the rig")
    ] = 0.0
    demand_mL_s: Annotated[
        float, quantity("mL/s", 0, 1e4, "flow that fast demand of 1 may hide; 0: from the rig", "follows the rig")
    ] = 0.0
    limit_mL_s: Annotated[float, quantity("mL/s", 0.01, 1000, "largest flow left unexplained", "invented")] = 0.75
    lively: Annotated[
        float, quantity("1", 0, 1, "and this share of the flow that fast demand asks for", "invented")
    ] = 0.2
    smooth_s: Annotated[float, quantity("s", 0.001, 1, "time constant of the reading's filter", "invented")] = 0.003
    memory_s: Annotated[float, quantity("s", 0.05, 60, "time constant of both means", "invented")] = 1.0
    settle_s: Annotated[float, quantity("s", 0, 60, "time in the clamp before it looks", "invented")] = 3.0
    hold_s: Annotated[float, quantity("s", 0, 10, "time beyond the limit before it fires", "invented")] = 1.2


class AirState(NamedTuple):
    """Means of pump flow [mL/s], of reservoir pressure [mmHg] and of the explained flow [mL/s]; filtered reading
    [mmHg]; filtered demand and mean of what is faster; ticks beyond the limit.
    """

    pump_mL_s: float
    supply_mmHg: float
    explained_mL_s: float
    reading_mmHg: float
    demand: float
    fast: float
    beyond_ticks: Unsigned
    fires: bool


@compiled
def air_use_step(part: AirUse, state: AirState, seen: Watched) -> AirState:
    """One tick; active in the clamp. A leaky mean of dp_s/dt needs no difference: it is (p_s − mean)/τ."""
    period, memory = seen.period_s, part.memory_s
    pump = lagged(state.pump_mL_s, seen.pump_mL_s, memory, period)
    supply = lagged(state.supply_mmHg, seen.supply_mmHg, memory, period)
    used = pump - part.reservoir_mL_mmHg * (seen.supply_mmHg - supply) / memory
    reading = lagged(state.reading_mmHg, seen.reading_mmHg, part.smooth_s, period)
    bleed = part.bleed_mL_s * math.sqrt(max(reading, 0.0) / NOMINAL_mmHg)
    now = max(part.cuff_mL_mmHg * (reading - state.reading_mmHg) / period + bleed, 0.0)
    explained = lagged(state.explained_mL_s, now, memory, period)
    demand = lagged(state.demand, seen.demand, part.smooth_s, period)
    fast = lagged(state.fast, abs(seen.demand - demand), memory, period)
    limit = part.limit_mL_s + part.lively * part.demand_mL_s * fast
    odd = (abs(used - explained) > limit) & lasted(seen.clamped_ticks, part.settle_s, seen.period_s)
    beyond = timer(state.beyond_ticks, odd)
    fires = part.enabled & lasted(beyond, part.hold_s, period)
    after = AirState(pump, supply, explained, reading, demand, fast, beyond, fires)
    idle = AirState(seen.pump_mL_s, seen.supply_mmHg, seen.pump_mL_s, seen.reading_mmHg, 0.0, 0.0, 0, False)
    new: AirState = selected((seen.clamped_ticks > 0) & (part.cuff_mL_mmHg > 0.0), after, idle)
    return new
