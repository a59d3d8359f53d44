"""Protection in the firmware: nineteen detectors, one fallback state, and what follows from it.

    NORMAL ──warn──▶ WARNING ──(quiet for a while)──▶ NORMAL
       │ hold                                    HOLD ──(quiet for a while, not too often)──▶ NORMAL
       ├──────────▶ HOLD ──(too long, too often)──▶ VENTED
       │ recalibrate
       ├──────────▶ RECALIBRATE ──(nobody does)──▶ VENTED
       │ vent
       └──────────▶ VENTED   (latched: only a cycle of power leads out)
WARNING clamps on, and says so; HOLD and RECALIBRATE leave the light and keep a moderate cuff pressure by transducer.
VENTED opens valve and dump valve. A state is only ever left upwards, but for the two returns drawn above.
"""
from __future__ import annotations

from typing import Annotated, NamedTuple

from controller.protection.detectors_balance import (
    AirState,
    AirUse,
    Following,
    FollowingState,
    air_use_step,
    following_step,
)
from controller.protection.detectors_light import (
    LightJump,
    LightJumpState,
    LightRange,
    LightState,
    light_jump_step,
    light_range_step,
)
from controller.protection.detectors_loop import (
    Deadlines,
    DeadlineState,
    NoPulse,
    Oscillation,
    OscillationState,
    PulseState,
    Response,
    ResponseState,
    Saturation,
    SaturationState,
    deadlines_step,
    no_pulse_step,
    oscillation_step,
    response_step,
    saturation_step,
)
from controller.protection.detectors_pressure import (
    Exposure,
    ExposureState,
    LimitState,
    PressureLimit,
    PressureRate,
    RateState,
    Redundancy,
    RedundancyState,
    SupplyRange,
    SupplyState,
    exposure_step,
    pressure_limit_step,
    pressure_rate_step,
    redundancy_step,
    supply_range_step,
)
from controller.protection.detectors_self import (
    Confirmed,
    ConfirmedState,
    ConverterState,
    ConverterTest,
    EmitterMonitor,
    EmitterState,
    Sequence,
    SequenceState,
    SettingsCheck,
    SettingsState,
    confirmed_step,
    converter_test_step,
    emitter_monitor_step,
    sequence_step,
    settings_check_step,
)
from controller.protection.watched import Slow, Watched, lasted, slow_lag, timer
from plant.declare import Unsigned, compiled, inlined, quantity
from plant.numerics.vector import choose, opposite

NORMAL, WARNING, HOLD, RECALIBRATE, VENTED = range(5)  # fallback states
FALLBACKS = ("normal", "warning", "hold", "recalibrate", "vented")
REACTIONS: dict[str, int] = {  # detector: the fallback state that it asks for
    "pressure_limit": VENTED, "pressure_rate": VENTED, "exposure": VENTED, "redundancy": VENTED,
    "light_range": HOLD, "light_jump": RECALIBRATE, "response": VENTED, "saturation": VENTED,
    "oscillation": RECALIBRATE, "no_pulse": WARNING, "deadlines": WARNING, "supply_range": WARNING,
    "settings_check": VENTED, "sequence": RECALIBRATE, "emitter_monitor": RECALIBRATE, "converter_test": VENTED,
    "following": RECALIBRATE, "air_use": WARNING, "confirmation": RECALIBRATE,
}
DETECTORS = tuple(REACTIONS)
TRANSITIONS: tuple[tuple[int, int, str], ...] = (  # what can happen, for whoever draws it
    (NORMAL, WARNING, "pulse, deadlines, supply, air use"), (WARNING, NORMAL, "quiet for clear_s"),
    (NORMAL, HOLD, "light out of range"), (HOLD, NORMAL, "quiet for clear_s"),
    (NORMAL, RECALIBRATE, "light jumps, odd loop"),
    (NORMAL, VENTED, "any other detector, switch or watchdog"),
    (HOLD, VENTED, "longer than hold_most_s, or too often"), (RECALIBRATE, VENTED, "longer than hold_most_s"),
)


class Fallback(NamedTuple):
    """How the fallback states behave."""

    clear_s: Annotated[float, quantity("s", 0, 60, "quiet time before a warning or a hold ends", "invented")] = 2.0
    hold_most_s: Annotated[
        float, quantity("s", 0, 600, "longest hold, and longest wait for a calibration", "invented")
    ] = 10.0
    holds_most: Annotated[int, quantity("1", 0, 100, "holds before one too many vents", "invented")] = 3
    pressure_mmHg: Annotated[
        float, quantity("mmHg", 0, 200, "cuff pressure of a hold, or the mean of before if that is lower", "invented")
    ] = 80.0
    mean_s: Annotated[float, quantity("s", 0.1, 60, "time constant of that mean", "invented")] = 2.0


class LightSignal(NamedTuple):
    """What the firmware knows of its own light channel: several detectors allow for its noise."""

    noise: Annotated[
        float, quantity("1", 0, 1, "SD of a sample, share of full scale; 0: from the rig", "follows the rig")
    ] = 0.0


class Protection(NamedTuple):
    """Every detector, the fallback, and what the firmware knows of its light."""

    pressure_limit: PressureLimit = PressureLimit()
    pressure_rate: PressureRate = PressureRate()
    exposure: Exposure = Exposure()
    redundancy: Redundancy = Redundancy()
    light_range: LightRange = LightRange()
    light_jump: LightJump = LightJump()
    response: Response = Response()
    saturation: Saturation = Saturation()
    oscillation: Oscillation = Oscillation()
    no_pulse: NoPulse = NoPulse()
    deadlines: Deadlines = Deadlines()
    supply_range: SupplyRange = SupplyRange()
    settings_check: SettingsCheck = SettingsCheck()
    sequence: Sequence = Sequence()
    emitter_monitor: EmitterMonitor = EmitterMonitor()
    converter_test: ConverterTest = ConverterTest()
    following: Following = Following()
    air_use: AirUse = AirUse()
    confirmation: Confirmed = Confirmed()
    fallback: Fallback = Fallback()
    light_signal: LightSignal = LightSignal()


class ProtectionState(NamedTuple):
    """What the protection remembers."""

    pressure_limit: LimitState
    pressure_rate: RateState
    exposure: ExposureState
    redundancy: RedundancyState
    light_range: LightState
    light_jump: LightJumpState
    response: ResponseState
    saturation: SaturationState
    oscillation: OscillationState
    no_pulse: PulseState
    deadlines: DeadlineState
    supply_range: SupplyState
    settings_check: SettingsState
    sequence: SequenceState
    emitter_monitor: EmitterState
    converter_test: ConverterState
    following: FollowingState
    air_use: AirState
    confirmation: ConfirmedState
    fallback: int
    since_ticks: Unsigned  # in this fallback state
    quiet_ticks: Unsigned  # since a detector fired
    holds: int  # times that HOLD was entered
    mean_mmHg: Slow  # slow mean of the reading
    hold_mmHg: float  # pressure to keep in HOLD and RECALIBRATE
    fired: float  # detectors that fire on this tick, one bit of a whole number each in the order of DETECTORS


@compiled
def initial_protection() -> ProtectionState:
    """Nothing seen, nothing wrong."""
    return ProtectionState(
        LimitState(0, False), RateState(0.0, 0.0, False), ExposureState(Slow(0.0, 0.0), False),
        RedundancyState(0.0, 0, False), LightState(0, -1.0, 0, False),
        LightJumpState(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, False),
        ResponseState(0.0, 0.0, 0.0, 0.0, 0.0, 0, 0, 0.0, 0.0, 0.0, False, False),
        SaturationState(0.0, False), OscillationState(0.0, 0.0, False), PulseState(0.0, 1.0, 0, False),
        DeadlineState(0.0, False), SupplyState(0, False), SettingsState(False), SequenceState(0, False),
        EmitterState(-1.0, 0.0, 0, False), ConverterState(0, False),
        FollowingState(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0, False), AirState(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0, False),
        ConfirmedState(False), NORMAL, 0, 0, 0, Slow(0.0, 0.0), 0.0, 0.0,
    )


@inlined
def bit(condition: bool, place: int) -> float:
    """What a bit of a whole number is worth, or nothing."""
    worth: float = choose(condition, 2.0**place, 0.0)
    return worth


@compiled
def protection_step(part: Protection, state: ProtectionState, seen: Watched) -> ProtectionState:
    """One tick of every detector and of the fallback state."""
    limit = pressure_limit_step(part.pressure_limit, state.pressure_limit, seen)
    rate = pressure_rate_step(part.pressure_rate, state.pressure_rate, seen)
    exposure = exposure_step(part.exposure, state.exposure, seen)
    redundancy = redundancy_step(part.redundancy, state.redundancy, seen)
    light = light_range_step(part.light_range, state.light_range, seen)
    jump = light_jump_step(part.light_jump, state.light_jump, seen)
    response = response_step(part.response, state.response, seen)
    saturation = saturation_step(part.saturation, state.saturation, seen)
    oscillation = oscillation_step(part.oscillation, state.oscillation, seen)
    pulse = no_pulse_step(part.no_pulse, state.no_pulse, seen)
    deadlines = deadlines_step(part.deadlines, state.deadlines, seen)
    supply = supply_range_step(part.supply_range, state.supply_range, seen)
    loaded = settings_check_step(part.settings_check, state.settings_check, seen)
    sequence = sequence_step(part.sequence, state.sequence, seen)
    emitter = emitter_monitor_step(part.emitter_monitor, state.emitter_monitor, seen)
    converters = converter_test_step(part.converter_test, state.converter_test, seen)
    following = following_step(part.following, state.following, seen)
    air = air_use_step(part.air_use, state.air_use, seen)
    confirmed = confirmed_step(part.confirmation, state.confirmation, seen)
    vents = (
        limit.fires | rate.fires | exposure.fires | redundancy.fires | response.fires | saturation.fires
        | loaded.fires | converters.fires | seen.tripped
    )
    recalibrates = jump.fires | oscillation.fires | sequence.fires | emitter.fires | following.fires
    recalibrates = recalibrates | confirmed.fires
    warns = pulse.fires | deadlines.fires | supply.fires | air.fires
    wanted = choose(light.fires, HOLD, choose(warns, WARNING, NORMAL))
    wanted = choose(vents, VENTED, choose(recalibrates, RECALIBRATE, wanted))
    mean = slow_lag(state.mean_mmHg, seen.reading_mmHg, part.fallback.mean_s, seen.period_s)
    fallback, since, quiet, holds, hold_mmHg = fallback_step(part.fallback, state, wanted, seen.period_s)
    hold_mmHg = choose(fallback == NORMAL, min(mean.value, part.fallback.pressure_mmHg), hold_mmHg)
    fired = (
        bit(limit.fires, 0) + bit(rate.fires, 1) + bit(exposure.fires, 2) + bit(redundancy.fires, 3)
        + bit(light.fires, 4) + bit(jump.fires, 5) + bit(response.fires, 6) + bit(saturation.fires, 7)
        + bit(oscillation.fires, 8) + bit(pulse.fires, 9) + bit(deadlines.fires, 10) + bit(supply.fires, 11)
        + bit(loaded.fires, 12) + bit(sequence.fires, 13) + bit(emitter.fires, 14) + bit(converters.fires, 15)
        + bit(following.fires, 16) + bit(air.fires, 17) + bit(confirmed.fires, 18)
    )
    return ProtectionState(
        limit, rate, exposure, redundancy, light, jump, response, saturation, oscillation, pulse, deadlines,
        supply, loaded, sequence, emitter, converters, following, air, confirmed, fallback, since, quiet, holds, mean,
        hold_mmHg, fired,
    )


@inlined
def firing(state: ProtectionState) -> tuple[bool, ...]:
    """Whether each detector fires on this tick, in the order of DETECTORS."""
    return (
        state.pressure_limit.fires, state.pressure_rate.fires, state.exposure.fires, state.redundancy.fires,
        state.light_range.fires, state.light_jump.fires, state.response.fires, state.saturation.fires,
        state.oscillation.fires, state.no_pulse.fires, state.deadlines.fires, state.supply_range.fires,
        state.settings_check.fires, state.sequence.fires, state.emitter_monitor.fires, state.converter_test.fires,
        state.following.fires, state.air_use.fires,
        state.confirmation.fires,
    )


@compiled
def fallback_step(
    part: Fallback, state: ProtectionState, wanted: int, period_s: float
) -> tuple[int, Unsigned, Unsigned, int, float]:
    """Fallback state, ticks in it, quiet ticks, holds so far, pressure to hold, given what the detectors want."""
    now = state.fallback
    quiet = timer(state.quiet_ticks, opposite(wanted > NORMAL))
    holds = state.holds
    after = max(now, wanted)
    over = ((now == WARNING) | (now == HOLD)) & lasted(quiet, part.clear_s, period_s) & (after == now)
    after = choose(over, NORMAL, after)
    late = ((now == HOLD) | (now == RECALIBRATE)) & lasted(state.since_ticks, part.hold_most_s, period_s)
    after = choose(late, VENTED, after)
    again = (after == HOLD) & (now != HOLD)
    holds = holds + choose(again, 1, 0)
    after = choose(again & (holds > part.holds_most), VENTED, after)
    since = timer(state.since_ticks, after == now)
    return after, since, quiet, holds, state.hold_mmHg
