"""Detectors by which the instrument watches itself: its settings, its own order of events, its emitter, its converters.

They need no pulse and no pressure to see what no signal in the clamp can show. Each is common practice in measuring and
safety electronics (checked parameters, sequence monitoring, a monitor diode beside the emitter, reference voltages on
the multiplexer); thresholds are invented.
"""
from __future__ import annotations

from typing import Annotated, NamedTuple

from controller.protection.detectors_pressure import Enabled
from controller.protection.watched import Watched, lagged, lasted, reached, timer
from plant.declare import UNSIGNED, Unsigned, compiled, quantity
from plant.numerics.vector import choose, opposite


class SettingsCheck(NamedTuple):
    """Check sum of the control law that is loaded, against the one made out for this rig. Reaction: vent and latch."""

    enabled: Enabled = True
    expected: Annotated[
        int, UNSIGNED,
        quantity("1", 0, 2**32 - 1, "CRC-32 of the rig's own law; 0: from the rig", "follows the rig")
    ] = 0


class SettingsState(NamedTuple):
    """Nothing is remembered."""

    fires: bool


@compiled
def settings_check_step(part: SettingsCheck, state: SettingsState, seen: Watched) -> SettingsState:
    """One tick; active in every mode. Without an expected sum it does not look."""
    wrong = (part.expected > 0) & (seen.settings != part.expected)
    return SettingsState(part.enabled & wrong)


class Sequence(NamedTuple):
    """A clamp without a search that was finished, or too soon after the cuff was filled. Reaction: recalibrate.

    A search puts its mark on a set point as its very last act; veins and wall need their time in a filled cuff.
    """

    enabled: Enabled = True
    filled_s: Annotated[float, quantity("s", 0, 600, "least time in a filled cuff before a clamp", "invented")] = 6.0
    filled_mmHg: Annotated[float, quantity("mmHg", 1, 200, "pressure of a filled cuff", "invented")] = 20.0


class SequenceState(NamedTuple):
    """Ticks in a filled cuff before the clamp."""

    filled_ticks: Unsigned
    fires: bool


@compiled
def sequence_step(part: Sequence, state: SequenceState, seen: Watched) -> SequenceState:
    """One tick; judges in the clamp."""
    clamped = seen.clamped_ticks > 0
    waited = timer(state.filled_ticks, seen.reading_mmHg > part.filled_mmHg)
    early = opposite(reached(state.filled_ticks, part.filled_s, seen.period_s)) | opposite(seen.searched)
    return SequenceState(choose(clamped, state.filled_ticks, waited), clamped & part.enabled & early)


class Confirmed(NamedTuple):
    """A set point that the slow task's confirmation has denied. Reaction: recalibrate.

    The confirmation takes ten seconds of a small probe in the clamp, after a search and from time to time
    (`calibrate/search/confirmation.py`); until it has spoken, nothing is denied.
    """

    enabled: Enabled = True


class ConfirmedState(NamedTuple):
    """Nothing is remembered."""

    fires: bool


@compiled
def confirmed_step(part: Confirmed, state: ConfirmedState, seen: Watched) -> ConfirmedState:
    """One tick; judges in the clamp."""
    return ConfirmedState(part.enabled & (seen.clamped_ticks > 0) & seen.denied)


class EmitterMonitor(NamedTuple):
    """Emitted light, by a photodiode beside the emitter, away from where it was when the clamp began.

    Reaction: recalibrate, for a set point holds for the light by which it was found.
    """

    enabled: Enabled = True
    share: Annotated[float, quantity("1", 0.001, 1, "largest change, share of the start's", "invented")] = 0.03
    memory_s: Annotated[float, quantity("s", 1e-4, 10, "time constant of its filter", "invented")] = 0.05
    hold_s: Annotated[float, quantity("s", 0, 10, "time away before it fires", "invented")] = 0.05


class EmitterState(NamedTuple):
    """Filtered light of the emitter and that of the clamp's start [share of nominal], ticks away from it."""

    level: float
    start: float
    away_ticks: Unsigned
    fires: bool


@compiled
def emitter_monitor_step(part: EmitterMonitor, state: EmitterState, seen: Watched) -> EmitterState:
    """One tick; judges in the clamp. A negative level is none yet."""
    clamped, smooth = seen.clamped_ticks > 0, lagged(state.level, seen.emitter, part.memory_s, seen.period_s)
    level = choose(state.level >= 0.0, smooth, seen.emitter)
    away = timer(state.away_ticks, clamped & (abs(level - state.start) > part.share * state.start))
    fires = part.enabled & clamped & lasted(away, part.hold_s, seen.period_s)
    return EmitterState(level, choose(clamped, state.start, level), away, fires)


class ConverterTest(NamedTuple):
    """Both converters on two reference voltages, a third and two thirds of full scale: between them every bit changes.

    Reaction: vent and latch, for nobody can say what a sample is worth.
    """

    enabled: Enabled = True
    tolerance: Annotated[float, quantity("1", 1e-6, 1, "largest error, share of full scale", "invented")] = 0.002
    hold_s: Annotated[float, quantity("s", 0, 10, "time beyond it before it fires", "invented")] = 0.02


class ConverterState(NamedTuple):
    """Ticks beyond the tolerance."""

    wrong_ticks: Unsigned
    fires: bool


@compiled
def converter_test_step(part: ConverterTest, state: ConverterState, seen: Watched) -> ConverterState:
    """One tick; active in every mode."""
    wrong = timer(state.wrong_ticks, seen.converter_error > part.tolerance)
    return ConverterState(wrong, part.enabled & lasted(wrong, part.hold_s, seen.period_s))
