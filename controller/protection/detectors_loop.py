"""Detectors that watch the loop: response to the command, saturation, oscillation, pulse, and the tick itself."""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

from controller.protection.detectors_pressure import Enabled
from controller.protection.watched import Watched, lagged, lasted, noise_mmHg, reached, timer
from plant.declare import Unsigned, compiled, inlined, quantity
from plant.numerics.integrate import selected
from plant.numerics.vector import choose, opposite

NOISE = 15.0  # loop noise over that of a sample: the loop amplifies it, the more the further its gain is off
BIAS = 10.0  # mean error that noise makes where it meets the end of the valve, over the noise of a sample


class Response(NamedTuple):
    """Pressure that does not do what the command asks, or light that does not come. Reaction: vent and latch.

    A flow valve's demand is a rate of pressure:    r' = dp/dt − K demand − r/τ
    A pressure valve's command is a pressure:       r = p − lag(range · command)
    and, with any valve, the mean error of the clamp over τ has a limit of its own. What a noisy signal makes a flow
    valve do on and on, K need not tell to the last: the residual's limit grows with it. The first fill tells the size
    of the bladder: with a flow valve its rise over the predicted one; with a pressure valve its mean lag, the integral
    of range · command − p over the rise, less a quarter of its stage's time at full slew, over the rig's own.
    """

    enabled: Enabled = True
    rate_mmHg_s: Annotated[
        float, quantity("mmHg/s", 0, 1e6, "rate per demand of 1 (K); 0: from the rig", "follows the rig")
    ] = 0.0
    range_mmHg: Annotated[
        float, quantity("mmHg", 0, 3000, "pressure per command of 1; 0: from the rig", "follows the rig")
    ] = 0.0
    lag_s: Annotated[float, quantity("s", 1e-4, 1, "lag of a pressure valve with its line", "invented")] = 0.008
    memory_s: Annotated[float, quantity("s", 0.01, 60, "time constant of forgetting (τ)", "invented")] = 0.25
    limit_mmHg: Annotated[float, quantity("mmHg", 1, 1000, "largest residual allowed", "invented")] = 60.0
    activity: Annotated[
        float, quantity("1", 0, 1, "and this share of all that was asked, up and down, over τ", "invented")
    ] = 0.15
    error_mmHg: Annotated[float, quantity("mmHg", 1, 1000, "largest mean error of the clamp", "invented")] = 12.0
    settle_s: Annotated[float, quantity("s", 0, 60, "time in the clamp before it looks", "invented")] = 1.5
    hold_s: Annotated[float, quantity("s", 0, 10, "time above a limit before it fires", "invented")] = 0.05
    fit_s: Annotated[float, quantity("s", 0.01, 60, "into the first fill, when its size is judged", "invented")] = 0.5
    fit_mmHg: Annotated[float, quantity("mmHg", 1, 200, "least rise by then to be judged at all", "invented")] = 20.0
    fit_low: Annotated[
        float, quantity("1", 0, 1, "least rise over the predicted one: more is too large a bladder", "invented")
    ] = 0.65
    fit_high: Annotated[float, quantity("1", 1, 100, "greatest rise over the predicted one", "invented")] = 1.5
    fill_lag_s: Annotated[
        float, quantity("s", 0, 10, "mean lag of a fill, pressure valve; 0: from the rig", "follows the rig")
    ] = 0.0
    fill_slew_mmHg_s: Annotated[
        float, quantity("mmHg/s", 0, 1e7, "fastest change of its stage; 0: from the rig", "follows the rig")
    ] = 0.0
    lag_low: Annotated[float, quantity("1", 0, 1, "least lag over the rig's own", "invented")] = 0.8
    lag_high: Annotated[
        float, quantity("1", 1, 100, "greatest: more is too large a bladder", "invented")
    ] = 1.085


class ResponseState(NamedTuple):
    """Last reading, expected pressure, residual, all that was asked and mean error [mmHg], ticks above a limit;
    of a fill its ticks, rise and predicted rise [mmHg], gap to the command [mmHg·s], and whether that did not fit.
    """

    reading_mmHg: float
    expected_mmHg: float
    residual_mmHg: float
    asked_mmHg: float
    error_mmHg: float
    above_ticks: Unsigned
    fill_ticks: Unsigned
    rise_mmHg: float
    predicted_mmHg: float
    gap_mmHg_s: float
    misfit: bool
    fires: bool


@inlined
def first_fill(
    part: Response, state: ResponseState, seen: Watched, step_mmHg: float, asked_mmHg: float
) -> ResponseState:
    """One tick outside the clamp: the size of the bladder, by the first fill's rise or lag."""
    period = seen.period_s
    filling = opposite(reached(state.fill_ticks, part.fit_s, period))
    fill = choose(filling, timer(state.fill_ticks, filling), state.fill_ticks)
    rise = choose(filling, state.rise_mmHg + step_mmHg, state.rise_mmHg)
    predicted = choose(filling, state.predicted_mmHg + asked_mmHg, state.predicted_mmHg)
    apart = (part.range_mmHg * seen.command - seen.reading_mmHg) * period
    gap = choose(filling, state.gap_mmHg_s + apart, state.gap_mmHg_s)
    by_rise = opposite((part.fit_low * predicted < rise) & (rise < part.fit_high * predicted))
    slewed = gap - 0.25 * rise * rise / max(part.fill_slew_mmHg_s, 1.0)  # what the stage's ramp adds
    by_lag = opposite(
        (part.lag_low * part.fill_lag_s * rise < slewed) & (slewed < part.lag_high * part.fill_lag_s * rise))
    odd = choose(part.rate_mmHg_s > 0.0, by_rise, (part.fill_lag_s > 0.0) & by_lag)
    misfit = choose(filling, reached(fill, part.fit_s, period) & (rise >= part.fit_mmHg) & odd, state.misfit)
    return ResponseState(
        seen.reading_mmHg, seen.reading_mmHg, 0.0, 0.0, 0.0, 0, fill, rise, predicted, gap, misfit,
        part.enabled & misfit
    )


@compiled
def response_step(part: Response, state: ResponseState, seen: Watched) -> ResponseState:
    """One tick; active in the clamp and, for the size of the bladder, in the first fill."""
    period = seen.period_s
    step = seen.reading_mmHg - state.reading_mmHg
    asked = part.rate_mmHg_s * seen.demand * period
    expected = lagged(state.expected_mmHg, part.range_mmHg * seen.command, part.lag_s, period)
    forget = part.memory_s / (part.memory_s + period)
    activity = (state.asked_mmHg + abs(asked)) * forget
    of_rate = (state.residual_mmHg + step - asked) * forget
    of_range = lagged(state.residual_mmHg, seen.reading_mmHg - expected, part.memory_s, period)
    residual = choose(part.rate_mmHg_s > 0.0, of_rate, choose(part.range_mmHg > 0.0, of_range, 0.0))
    error = lagged(state.error_mmHg, seen.error_mmHg, part.memory_s, period)
    bias = part.error_mmHg + BIAS * noise_mmHg(seen)
    wrong = (abs(residual) > part.limit_mmHg + part.activity * activity) | (abs(error) > bias)
    above = timer(state.above_ticks, wrong & lasted(seen.clamped_ticks, part.settle_s, seen.period_s))
    fires = part.enabled & (lasted(above, part.hold_s, period) | state.misfit)
    clamped = ResponseState(
        seen.reading_mmHg, expected, residual, activity, error, above, state.fill_ticks, state.rise_mmHg,
        state.predicted_mmHg, state.gap_mmHg_s, state.misfit, fires
    )
    new: ResponseState = selected(seen.clamped_ticks > 0, clamped, first_fill(part, state, seen, step, asked))
    return new


class Saturation(NamedTuple):
    """Command at a limit for most of the time, in the clamp. Reaction: vent and latch."""

    enabled: Enabled = True
    share: Annotated[float, quantity("1", 0.05, 1, "share of ticks at a limit that is too much", "invented")] = 0.7
    memory_s: Annotated[float, quantity("s", 0.01, 60, "time constant of that share", "invented")] = 0.3
    settle_s: Annotated[float, quantity("s", 0, 60, "time in the clamp before it looks", "invented")] = 0.5


class SaturationState(NamedTuple):
    """Share of ticks at a limit."""

    share: float
    fires: bool


@compiled
def saturation_step(part: Saturation, state: SaturationState, seen: Watched) -> SaturationState:
    """One tick; active in the clamp."""
    now = lagged(state.share, choose(seen.limited, 1.0, 0.0), part.memory_s, seen.period_s)
    share = choose(seen.clamped_ticks > 0, now, 0.0)
    settled = lasted(seen.clamped_ticks, part.settle_s, seen.period_s)
    return SaturationState(share, part.enabled & (share > part.share) & settled)


class Oscillation(NamedTuple):
    """Error of the clamp above the pulse's frequencies, root mean square. Reaction: recalibrate (gain included)."""

    enabled: Enabled = True
    above_Hz: Annotated[float, quantity("Hz", 0.5, 500, "corner of the high-pass filter", "invented")] = 12.0
    memory_s: Annotated[float, quantity("s", 0.01, 10, "time constant of the mean square", "invented")] = 0.2
    limit_mmHg: Annotated[float, quantity("mmHg", 0.1, 200, "largest root mean square", "invented")] = 6.0
    settle_s: Annotated[float, quantity("s", 0, 60, "time in the clamp before it looks", "invented")] = 0.5


class OscillationState(NamedTuple):
    """Slow part of the error [mmHg] and mean square of the rest [mmHg²]."""

    slow_mmHg: float
    square: float
    fires: bool


@compiled
def oscillation_step(part: Oscillation, state: OscillationState, seen: Watched) -> OscillationState:
    """One tick; active in the clamp."""
    slow = lagged(state.slow_mmHg, seen.error_mmHg, 1.0 / (2.0 * math.pi * part.above_Hz), seen.period_s)
    fast = seen.error_mmHg - slow
    square = lagged(state.square, fast * fast, part.memory_s, seen.period_s)
    noise = NOISE * noise_mmHg(seen)  # a weak finger's loop carries what light adds
    settled = lasted(seen.clamped_ticks, part.settle_s, seen.period_s)
    loud = (square > part.limit_mmHg * part.limit_mmHg + noise * noise) & settled
    after = OscillationState(slow, square, part.enabled & loud)
    new: OscillationState = selected(seen.clamped_ticks > 0, after, OscillationState(seen.error_mmHg, 0.0, False))
    return new


class NoPulse(NamedTuple):
    """No pulsation in the reading for longer than the longest pause between beats, in the clamp. Reaction: warn.

    A pulse is a rise by the least size after a fall by it, or the other way round.
    """

    enabled: Enabled = True
    least_mmHg: Annotated[float, quantity("mmHg", 0.1, 100, "least size of a pulse", "invented")] = 4.0
    most_s: Annotated[float, quantity("s", 0.5, 60, "longest time without one", "invented")] = 4.5


class PulseState(NamedTuple):
    """Extreme since the last turn [mmHg], +1 while rising and −1 while falling, ticks since the last turn."""

    extreme_mmHg: float
    direction: float
    since_ticks: Unsigned
    fires: bool


@compiled
def no_pulse_step(part: NoPulse, state: PulseState, seen: Watched) -> PulseState:
    """One tick; active in the clamp."""
    way = state.direction
    extreme = way * max(way * state.extreme_mmHg, way * seen.reading_mmHg)
    turned = (way * (extreme - seen.reading_mmHg) > part.least_mmHg) | (seen.clamped_ticks <= 0)
    extreme, since = choose(turned, seen.reading_mmHg, extreme), timer(state.since_ticks, opposite(turned))
    way = choose(seen.clamped_ticks <= 0, 1.0, choose(turned, -way, way))
    return PulseState(extreme, way, since, part.enabled & lasted(since, part.most_s, seen.period_s))


class Deadlines(NamedTuple):
    """Share of ticks that were missed, late or run twice. Reaction: warn; a tick that stops is the watchdog's."""

    enabled: Enabled = True
    share: Annotated[float, quantity("1", 0.001, 1, "share that is too much", "invented")] = 0.02
    memory_s: Annotated[float, quantity("s", 0.01, 60, "time constant of that share", "invented")] = 1.0


class DeadlineState(NamedTuple):
    """Share of ticks with something wrong."""

    share: float
    fires: bool


@compiled
def deadlines_step(part: Deadlines, state: DeadlineState, seen: Watched) -> DeadlineState:
    """One tick; active in every mode. Each missed tick counts for itself."""
    share = lagged(state.share, 0.0, part.memory_s, seen.period_s * (1.0 + seen.missed))
    share += seen.missed * seen.period_s / part.memory_s
    return DeadlineState(share, part.enabled & (share > part.share))
