"""The loop with protection and failures whose firmware is somebody's: law and timing are hers, all else is the rig's.

Detectors, fallbacks and backups look on as they do over the rig's own law, and a fallback reaches the firmware as an
order. A failure of the processor reaches it as ticks that do not come, or come twice; after a reset its memory is zero
and it is started again.
"""
from __future__ import annotations

from typing import NamedTuple

import numpy as np

from controller.tick.firmware import FirmwareState
from controller.tick.law import Terms
from experiments.firmware.foreign.records import COLD, DEAD_FROM, NOT_FINITE, STATUS, Servo, foreign_answer
from experiments.simulation.coupled import (
    Answer,
    ClosedLoop,
    Instant,
    Row,
    Samples,
    channels_of,
    loop_of,
    ring_of,
    system_decides,
    system_moves,
    system_row,
)
from experiments.simulation.disturbance import MOST_LATE
from experiments.simulation.protected import (
    FAULT_CHANNELS,
    Processor,
    ProtectedDecision,
    ProtectedLoop,
    ProtectedRun,
    ProtectedTelemetry,
    Reading,
    Safety,
    after_answer,
    decided,
    order_now,
    protected_moves,
    protected_tells,
    take_reading,
)
from plant.declare import fused


class ForeignProtectedLoop(NamedTuple):
    """A loop with its protection, and somebody's firmware in it."""

    loop: ClosedLoop
    safety: Safety
    servo: Servo


@channels_of.register
def _(system: ForeignProtectedLoop) -> tuple[str, ...]:
    return FAULT_CHANNELS


@loop_of.register
def _(system: ForeignProtectedLoop) -> ClosedLoop:
    return system.loop


@ring_of.register
def _(system: ForeignProtectedLoop) -> int:
    return system.loop.clock.whole_ticks + 2 + MOST_LATE


@fused
def without_servo(system: ForeignProtectedLoop) -> ProtectedLoop:
    """The same with the rig's own firmware."""
    return ProtectedLoop(system.loop, system.safety)


@fused
def foreign_processor(
    system: ForeignProtectedLoop, run: ProtectedRun, reading: Reading, now: Instant, previous: float
) -> tuple[FirmwareState, Processor, Answer]:
    """The firmware, as often as the processor runs on this tick, and the rig's protection after it."""
    fault, servo, nothing = system.safety.fault, system.servo, np.nan
    order = order_now(now.order, fault, run.processor, reading.light_slope)
    control, period = run.firmware, system.loop.clock.period_s
    terms = Terms((order.set_point - reading.sample.light) / order.light_slope, nothing, nothing, nothing, nothing,
                  nothing, nothing)
    answer = Answer(previous, order.mode, False, terms)
    if reading.down:
        servo.words[16 + COLD] = 1
    if reading.runs:
        control, answer = foreign_answer(servo, run.firmware, now, order, reading.sample, period)
        if fault.doubled:
            control, answer = foreign_answer(servo, control, now, order, reading.sample, period)
    return after_answer(without_servo(system), run, reading, order, (control, answer), previous)


@system_decides.of(ForeignProtectedLoop)
def foreign_protected_decides(
    system: ForeignProtectedLoop, now: Instant, run: ProtectedRun, pending: Samples, group: int
) -> tuple[ProtectedDecision, ProtectedTelemetry]:
    """First half of a tick, as of a `ProtectedLoop`; a firmware that ended before does so again by standing still."""
    ring, found = len(pending), take_reading(without_servo(system), now, run)
    runs = found.runs and now.tick < system.servo.words[16 + DEAD_FROM]
    reading = Reading(found.sample, found.second_mmHg, found.light_slope, found.converter_error, found.emitter, runs,
                      found.down, found.boot, found.after_reset)
    previous = pending[(now.tick + ring - 1) % ring]
    ran = foreign_processor(system, run, reading, now, previous)
    return decided(without_servo(system), now, run, pending, group, reading, ran)


@system_moves.of(ForeignProtectedLoop)
def foreign_protected_moves(
    system: ForeignProtectedLoop, now: Instant, run: ProtectedRun, made: ProtectedDecision
) -> tuple[ProtectedRun, int]:
    """Second half, as of a `ProtectedLoop`; a command that is no number ends the run."""
    after, status = protected_moves(without_servo(system), now, run, made)
    if not np.isfinite(made.firmware.command):
        status = NOT_FINITE
        system.servo.words[16 + STATUS] = NOT_FINITE
    return after, status


@system_row.of(ForeignProtectedLoop)
def foreign_protected_tells(
    system: ForeignProtectedLoop, now: Instant, run: ProtectedRun, seen: ProtectedTelemetry
) -> Row:
    """One value for each of FAULT_CHANNELS."""
    return protected_tells(without_servo(system), now, run, seen)
