"""The coupled simulation with its protection and with failures: the other kind of system.

Sample, firmware, timing and physics are those of `experiments.simulation.coupled`, piece by piece; with no failure, and
protection that stays silent, both kinds give the same bits. Kept apart, so that the plain loop carries none of this.
"""
from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.protection.guards import Guards
from controller.protection.protection import (
    HOLD,
    NORMAL,
    RECALIBRATE,
    VENTED,
    ProtectionState,
    firing,
    initial_protection,
    protection_step,
)
from controller.protection.watched import Watched, timer
from controller.tick.check_sum import settings_sum
from controller.tick.firmware import CLAMP, FILL, VENT, FirmwareState, Order
from controller.tick.inverse import achieved_demand
from controller.tick.law import ControllerState, initial_control
from experiments.simulation.backups import Backup, Places, backup_at_rest, backup_tick, is_powered, open_now
from experiments.simulation.coupled import (
    CHANNELS,
    DIVERGED,
    RUNNING,
    Answer,
    ClosedLoop,
    Instant,
    Row,
    Sample,
    channels_of,
    firmware_part,
    is_missed,
    is_sound,
    loop_of,
    loop_row,
    ring_of,
    switch_share,
    system_decides,
    system_moves,
    system_row,
    take_sample,
)
from experiments.simulation.disturbance import (
    MOST_LATE,
    NONE,
    Disturbance,
    converter_error,
    disturbed_samples,
    reference_scale,
    tick_is_lost,
)
from experiments.simulation.outcome import Judge, Seen, Sums, counted, nothing_yet
from plant.assembly import PlantState, Switchover, plant_tick
from plant.declare import Unsigned, fused
from plant.numerics.integrate import selected
from plant.numerics.layout import all_own, row_of, set_row
from plant.numerics.noise import NOISE_CHANNELS, gaussian
from plant.numerics.vector import anywhere, choose, opposite
from plant.parts import line_node, valve_play
from plant.pneumatics.openings import Openings, OpenPlantState, opened
from plant.pneumatics.supply import pump_flow

Samples = NDArray[np.float64]
EMPTIED = 2  # a run that has vented, latched and stayed empty, or will not get empty in time: nothing more to see
EMPTY_s = 0.5  # below 5 mmHg before a latched run counts as emptied
SECOND_NOISE, MONITOR_NOISE = NOISE_CHANNELS + 11, NOISE_CHANNELS + 12
MONITOR_SD = 0.002  # of the diode beside the emitter, share of nominal (invented)
FAULT_CHANNELS = (*CHANNELS, "second_mmHg", "shown_mmHg", "fallback", "fired", "dump", "lift", "arriving")


@all_own
class Safety(NamedTuple):
    """Protection, a failure, and what the run is held against. All of it may differ from finger to finger."""

    guards: Guards
    fault: Disturbance
    judge: Judge
    fine_steps: float  # Runge–Kutta steps on ticks with anything open
    settings: Unsigned  # check sum of the control law that is loaded
    denied: bool = False  # the slow task has denied the set point


class ProtectedLoop(NamedTuple):
    """The system with protection and failures."""

    loop: ClosedLoop
    safety: Safety


class Processor(NamedTuple):
    """What the firmware holds besides its control law."""

    protection: ProtectionState
    clamped_ticks: Unsigned
    missed: float  # ticks since it last ran that it should not have missed
    boot: int  # ticks until it runs again
    after_reset: bool  # lost its set point in a reset
    held: Sample  # the last that it got


class ProtectedRun(NamedTuple):
    """Everything that goes from one block of ticks to the next."""

    plant: OpenPlantState
    firmware: FirmwareState
    processor: Processor
    backup: Backup
    played: float  # valve command behind its hysteresis, now in force
    sums: Sums
    tick: int


class Reading(NamedTuple):
    """What the processor finds at the beginning of a tick, and what it is able to do on it."""

    sample: Sample
    second_mmHg: float  # transducer of the over-pressure switch
    light_slope: float
    converter_error: float
    emitter: float  # by the monitor beside it
    runs: bool
    down: bool  # without power, or still booting
    boot: int
    after_reset: bool


class ProtectedDecision(NamedTuple):
    """What the first half of a tick hands to the second."""

    firmware: FirmwareState
    processor: Processor
    backup: Backup
    sums: Sums
    openings: Openings
    command: Switchover  # as it reaches the valve
    since_s: float  # since the onset


class ProtectedTelemetry(NamedTuple):
    """What a tick has to tell, besides the state that it began with."""

    sample: Sample
    answer: Answer
    second_mmHg: float
    shown_mmHg: float
    fallback: int
    fired: float
    dump: float
    arriving: float


def protection_of(guards: Guards, judge: Judge, fine_steps: int, fault: Disturbance = NONE) -> Safety:
    """Protection and, if any, a failure; `protected_loop` adds what follows from the loop."""
    return Safety(guards, fault, judge, float(fine_steps), 0, False)


def protected_loop(loop: ClosedLoop, safety: Safety) -> ProtectedLoop:
    """A loop with its protection, whose check sum is that of the law that is loaded."""
    return ProtectedLoop(loop, safety._replace(settings=int(settings_sum(loop.firmware.coefficients))))


def protected_start(plant: PlantState) -> ProtectedRun:
    """A run that has yet to begin, from a plant at rest."""
    return ProtectedRun(
        OpenPlantState(plant, 0.0), FirmwareState(initial_control(), 0.0, FILL),
        Processor(initial_protection(), 0, 0.0, 0, False, Sample(0.0, 0.0)),
        backup_at_rest(), 0.0, nothing_yet(), 0,
    )


@channels_of.register
def _(system: ProtectedLoop) -> tuple[str, ...]:
    return FAULT_CHANNELS


@loop_of.register
def _(system: ProtectedLoop) -> ClosedLoop:
    return system.loop


@ring_of.register
def _(system: ProtectedLoop) -> int:
    return system.loop.clock.whole_ticks + 2 + MOST_LATE


# --- pieces of a tick -----------------------------------------------------------------------------------------------


@fused
def take_reading(system: ProtectedLoop, now: Instant, run: ProtectedRun) -> Reading:
    """Samples as a failure leaves them, and whether the processor runs on this tick."""
    loop, fault, guards = system.loop, system.safety.fault, system.safety.guards
    processor, period, powered = run.processor, loop.clock.period_s, is_powered(fault)
    sample, slope = take_sample(loop, run.plant.plant, now), now.order.light_slope
    sensed = run.backup.switch.sensed_mmHg
    second = sensed + guards.pressure_switch.noise_mmHg * gaussian(now.seed, SECOND_NOISE, now.tick)
    lost, boot, after_reset = is_missed(loop, now), max(processor.boot - 1, 0), processor.after_reset
    runs, wrong, drift, scale = powered & (processor.boot == 0), 0.0, 0.0, 1.0
    if anywhere(fault.active):
        active, since_ticks = fault.active, now.tick - fault.onset_tick
        bad = disturbed_samples(fault, loop.plant, sample, processor.held, now.seed, now.tick, period)
        sample = Sample(
            choose(active, bad.light, sample.light), choose(active, bad.reading_mmHg, sample.reading_mmHg))
        slope = choose(active, slope * fault.error_sign, slope)
        wrong = choose(active, converter_error(fault, loop.plant, processor.held), wrong)
        drift = choose(active, fault.emitter_drift_per_s * since_ticks * period, drift)
        scale = choose(active, reference_scale(fault, since_ticks * period), scale)
        resets = active & (fault.boot_ticks > 0) & (since_ticks == 0)
        boot, after_reset = choose(resets, fault.boot_ticks, boot), after_reset | resets | (active & opposite(powered))
        runs = runs & opposite(resets | (active & fault.hung))
        lost = lost | (active & tick_is_lost(fault, now.seed, now.tick))
    monitored = loop.plant.light.emitter * max(1.0 + drift, 0.0) * scale
    monitored = monitored + MONITOR_SD * gaussian(now.seed, MONITOR_NOISE, now.tick)
    down = (boot > 0) | opposite(powered)
    return Reading(sample, second, slope, wrong, monitored, runs & opposite(lost), down, boot, after_reset)


@fused
def order_now(order: Order, fault: Disturbance, processor: Processor, light_slope: float) -> Order:
    """What the firmware carries out on this tick: its order, unless a fallback state says otherwise."""
    fallback = processor.protection.fallback
    holds, vents = (fallback == HOLD) | (fallback == RECALIBRATE), fallback == VENTED
    mode = choose(holds, FILL, choose(vents, VENT, order.mode))
    fill = choose(holds, processor.protection.hold_mmHg, order.fill_mmHg)
    moved = order.set_point * fault.set_point_gain + fault.set_point_shift_mmHg * light_slope
    set_point = choose(fault.active, moved, order.set_point)
    return Order(mode, fill, choose(processor.after_reset, 0.0, set_point), light_slope)


@fused
def watched_now(
    system: ProtectedLoop, run: ProtectedRun, order: Order, reading: Reading, answer: Answer, clamped_ticks: Unsigned
) -> Watched:
    """Everything that the protection looks at on this tick."""
    loop, safety, fault = system.loop, system.safety, system.safety.fault
    late = fault.doubled | (fault.late_ticks > 0) | (fault.late_share > 0.3)
    supply, command = run.plant.plant.supply_mmHg, run.firmware.command
    return Watched(
        loop.clock.period_s, order.mode, clamped_ticks, reading.sample.reading_mmHg, reading.second_mmHg, supply,
        pump_flow(loop.plant.supply, supply), reading.sample.light, order.set_point, order.light_slope,
        safety.guards.protection.light_signal.noise, answer.terms.error_mmHg, command,
        achieved_demand(loop.firmware.stage, command, reading.sample.reading_mmHg), answer.limited,
        run.processor.missed + choose(late, 1.0, 0.0), run.backup.switch.tripped | run.backup.watchdog.expired,
        safety.settings, opposite(fault.unsearched), safety.denied, reading.emitter, reading.converter_error,
    )


@fused
def processor_tick(
    system: ProtectedLoop, run: ProtectedRun, reading: Reading, now: Instant, previous: float
) -> tuple[FirmwareState, Processor, Answer]:
    """Law and protection if the processor runs; else the last command stays or, while it is down, all is lost."""
    fault = system.safety.fault
    order = order_now(now.order, fault, run.processor, reading.light_slope)
    control, answer = firmware_part(system.loop, run.firmware, order, reading.sample)
    twice = fault.doubled & reading.runs
    if anywhere(twice):
        again, second = firmware_part(system.loop, control, order, reading.sample)
        control, answer = selected(twice, again, control), selected(twice, second, answer)
    return after_answer(system, run, reading, order, (control, answer), previous)


@fused
def after_answer(
    system: ProtectedLoop, run: ProtectedRun, reading: Reading, order: Order, answered: tuple[FirmwareState, Answer],
    previous: float,
) -> tuple[FirmwareState, Processor, Answer]:
    """Protection, once the law has answered."""
    before, (control, answer) = run.processor, answered
    sample, runs, boot, after_reset = reading.sample, reading.runs, reading.boot, reading.after_reset
    clamped = timer(before.clamped_ticks, order.mode == CLAMP)
    seen = watched_now(system, run, order, reading, answer, clamped)
    protection = protection_step(system.safety.guards.protection, before.protection, seen)
    ran = Processor(protection, clamped, 0.0, boot, after_reset, sample)
    idle = Processor(before.protection, before.clamped_ticks, before.missed + 1.0, boot, after_reset, before.held)
    kept, command = run.firmware, previous
    if anywhere(reading.down):
        lost = FirmwareState(ControllerState(0.0, 0.0, 0.0, 0.0, 0.0), 0.0, FILL, 0.0, True)
        kept = selected(reading.down, lost, kept)
        fresh = Processor(initial_protection(), 0, 0.0, boot, after_reset, sample)
        idle = selected(reading.down, fresh, idle)
        command = choose(reading.down, 0.0, command)
    told = Answer(choose(runs, answer.command, command), answer.mode, answer.limited, answer.terms)
    return selected(runs, control, kept), selected(runs, ran, idle), told


@fused
def command_due(system: ProtectedLoop, now: Instant, pending: Samples, group: int) -> Any:
    """The command that arrives on this tick: that of the dead time, or of so many more ticks as a failure adds."""
    ring, whole, late = len(pending), system.loop.clock.whole_ticks, system.safety.fault.late_ticks
    due = row_of(pending, (now.tick + ring - whole) % ring, group)
    if anywhere(late > 0):
        for more in range(1, MOST_LATE + 1):
            due = choose(late == more, row_of(pending, (now.tick + ring - whole - more) % ring, group), due)
    return due


@fused
def command_now(system: ProtectedLoop, now: Instant, run: ProtectedRun, due: float) -> Switchover:
    """The command that is due, as it reaches the valve on this tick."""
    fault = system.safety.fault
    arriving, share = valve_play(system.loop.plant.valve, run.played, due), switch_share(system.loop, now)
    if anywhere(fault.active):
        harmed = max(arriving * fault.command_gain + fault.command_offset, fault.command_least)
        harmed = choose(fault.command_only_rises, max(harmed, run.played), harmed)
        arriving = choose(fault.active, harmed, arriving)
        share = choose(fault.active, min(share + fault.late_share, 1.0), share)
    return Switchover(run.played, arriving, share)


@fused
def status_of(system: ProtectedLoop, after: ProtectedRun, since_s: float) -> int:
    """RUNNING, DIVERGED or EMPTIED."""
    safety, vent, watchdog = system.safety, after.sums.vent, after.backup.watchdog
    latched = (
        (after.processor.protection.fallback == VENTED) | after.backup.switch.tripped
        | opposite(is_powered(safety.fault)) | (watchdog.expired & safety.guards.watchdog.latched)
    )
    over = (vent.vent_start_s >= 0.0) & (since_s > vent.vent_start_s + safety.judge.patience_s)
    emptied = latched & (over | (vent.empty_s > EMPTY_s))
    status: int = choose(is_sound(after.plant.plant), choose(emptied, EMPTIED, RUNNING), DIVERGED)
    return status


# --- a tick ---------------------------------------------------------------------------------------------------------


@system_decides.of(ProtectedLoop)
def protected_decides(
    system: ProtectedLoop, now: Instant, run: ProtectedRun, pending: Samples, group: int
) -> tuple[ProtectedDecision, ProtectedTelemetry]:
    """First half of a tick: sample, firmware, protection, and what works without firmware."""
    reading = take_reading(system, now, run)
    previous = row_of(pending, (now.tick + len(pending) - 1) % len(pending), group)
    return decided(system, now, run, pending, group, reading, processor_tick(system, run, reading, now, previous))


@fused
def decided(
    system: ProtectedLoop, now: Instant, run: ProtectedRun, pending: Samples, group: int, reading: Reading,
    ran: tuple[FirmwareState, Processor, Answer],
) -> tuple[ProtectedDecision, ProtectedTelemetry]:
    """What follows from the processor's part of a tick: what works without firmware, and what reaches the valve."""
    ring, fault, judge, guards = len(pending), system.safety.fault, system.safety.judge, system.safety.guards
    period, state, (control, processor, answer) = system.loop.clock.period_s, run.plant.plant, ran
    set_row(pending, now.tick % ring, group, answer.command)
    fallback, unpowered = processor.protection.fallback, opposite(is_powered(fault))
    node = line_node(system.loop.plant.tube, state.line, state.cuff_mmHg)
    places = Places(state.cuff_mmHg, node)
    failing_s = choose(fault.active, (now.tick - fault.onset_tick) * period, 0.0)
    backup, let_go, holds = backup_tick(
        guards, fault, run.backup, places, reading.runs, fallback == VENTED, failing_s, period)
    released = let_go | unpowered
    warned = (released | (fallback != NORMAL)) & opposite(fault.alarm_dead)
    since = (now.tick - judge.onset_tick) * period
    judged = (run.processor.protection.fallback != VENTED) & reading.runs
    shown = choose(fault.shown_frozen, fault.shown_value_mmHg, processor.held.reading_mmHg + fault.shown_offset_mmHg)
    trusted = opposite(warned) & ((answer.mode == CLAMP) | fault.shown_frozen)
    emitted = choose(released, 0.0, max(reading.emitter, 0.0))  # the line that lets go of the cuff cuts its light, too
    backups = (backup.relief_open | (run.plant.lift > 1e-6), opposite(holds), backup.switch.tripped,
               backup.watchdog.expired)
    seen = Seen(since, released, warned, trusted, shown, judged, emitted, firing(processor.protection), backups)
    sums = counted(run.sums, judge, seen, state.cuff_mmHg, now.course.start, period)
    openings = open_now(guards, fault, backup, released)
    change = command_now(system, now, run, command_due(system, now, pending, group))
    told = ProtectedTelemetry(reading.sample, answer, reading.second_mmHg, shown, fallback,
                              processor.protection.fired, backup.dump, change.new)
    return ProtectedDecision(control, processor, backup, sums, openings, change, since), told


@system_moves.of(ProtectedLoop)
def protected_moves(
    system: ProtectedLoop, now: Instant, run: ProtectedRun, made: ProtectedDecision
) -> tuple[ProtectedRun, int]:
    """Second half: the plant until the next tick. The state after it, and RUNNING, DIVERGED or EMPTIED."""
    loop, openings, lift = system.loop, made.openings, run.plant.lift
    wide = openings.node + openings.cuff + openings.feed + lift
    idle = (wide == 0.0) & opposite(openings.relief_open)
    steps = choose(idle, loop.clock.substeps, system.safety.fine_steps)
    plant = opened(loop.plant, system.safety.guards.relief, openings, lift)
    moved = plant_tick(plant, run.plant, now.course, made.command, steps, loop.clock.period_s)
    after = ProtectedRun(moved, made.firmware, made.processor, made.backup, made.command.new, made.sums, run.tick + 1)
    return after, status_of(system, after, made.since_s)


@system_row.of(ProtectedLoop)
def protected_tells(system: ProtectedLoop, now: Instant, run: ProtectedRun, told: ProtectedTelemetry) -> Row:
    """One value for each of FAULT_CHANNELS; `run` is the state before the tick."""
    plain = loop_row(system.loop, now, run.plant.plant, told.sample, told.answer)
    return (*plain, told.second_mmHg, told.shown_mmHg, 1.0 * told.fallback, told.fired, told.dump, run.plant.lift,
            told.arriving)
