"""The coupled simulation with its protection and with faults on the tick: the second compiled loop.

Physics, firmware and timing are those of `experiments.simulation.coupled`; with no fault, and protection that stays
silent, both loops give the same bits. Kept apart, so that the plain loop carries none of this.
"""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.protection.detectors_self import settings_sum
from controller.protection.guards import Guards
from controller.protection.protection import (
    HOLD,
    NORMAL,
    RECALIBRATE,
    VENTED,
    Protection,
    ProtectionState,
    initial_protection,
    protection_step,
)
from controller.protection.watched import Watched
from controller.tick.firmware import CLAMP, FILL, VENT, Firmware, FirmwareState, Order, firmware_tick
from controller.tick.inverse import achieved_demand
from controller.tick.law import ControllerState, initial_control
from experiments.simulation.coupled import (
    CHANNELS,
    DIVERGED,
    RUNNING,
    CEILING_mmHg,
    Clock,
    Orders,
    sample_light,
    sample_pressure,
)
from experiments.simulation.disturbance import Disturbance, converter_error, disturbed_samples, tick_is_lost
from experiments.simulation.outcome import (
    AT_ALARM,
    DETECTED,
    DUMP,
    EMPTY,
    RELIEF,
    SWITCH,
    VENT_START,
    WATCHDOG,
    WRONG_MEAN,
    Judge,
    add_display,
    add_pressure,
    note,
    note_detectors,
)
from plant.assembly import Inputs, Plant, PlantState, Surroundings, arterial_area
from plant.declare import compiled, inlined
from plant.electronics.pressure_switch import SwitchState, idle_switch, switch_step
from plant.electronics.watchdog import WatchdogState, fed_watchdog, watchdog_step
from plant.numerics.noise import JITTER, MISSED, NOISE_CHANNELS, gaussian, uniform
from plant.parts import line_node, valve_play
from plant.pneumatics.dump_valve import dump_holds, dump_step
from plant.pneumatics.openings import GuardedState, Openings, guarded_tick
from plant.pneumatics.relief import relief_opens
from plant.pneumatics.supply import pump_flow

EMPTIED = 2  # a run that has vented, latched and stayed empty, or will not get empty in time: nothing more to see
EMPTY_s = 0.5  # below 5 mmHg before a latched run counts as emptied
SECOND_NOISE, MONITOR_NOISE = NOISE_CHANNELS + 11, NOISE_CHANNELS + 12
MONITOR_SD = 0.002  # of the diode beside the emitter, share of nominal (invented)
LEAST_POWER = 0.5  # share of nominal below which the processor stops (common practice: brown-out detection)
FAULT_CHANNELS = (*CHANNELS, "second_mmHg", "shown_mmHg", "fallback", "fired", "dump", "lift", "arriving")


class Processor(NamedTuple):
    """What the firmware holds besides its control law."""

    protection: ProtectionState
    clamped_s: float
    missed: float  # ticks since it last ran that it should not have missed
    boot: int  # ticks until it runs again
    forgetful: bool  # lost its set point in a reset
    light: float  # last sample
    reading_mmHg: float


class GuardedRun(NamedTuple):
    """Everything that goes from one block of ticks to the next."""

    plant: GuardedState
    firmware: FirmwareState
    processor: Processor
    switch: SwitchState
    watchdog: WatchdogState
    dump: float  # opening of the dump valve
    relief_open: bool
    played: float
    tick: int


def guarded_start(plant: PlantState) -> GuardedRun:
    """A run at its start, from a plant at rest."""
    return GuardedRun(
        GuardedState(plant, 0.0), FirmwareState(initial_control(), 0.0, FILL),
        Processor(initial_protection(), 0.0, 0.0, 0, False, 0.0, 0.0), idle_switch(), fed_watchdog(),
        0.0, False, 0.0, 0,
    )


@inlined
def order_now(
    orders: Orders, k: int, fault: Disturbance, processor: Processor, light_slope: float
) -> Order:
    """What the firmware carries out on this tick: its order, unless a fallback state says otherwise."""
    mode, fill = orders.mode[k], orders.fill_mmHg[k]
    fallback = processor.protection.fallback
    if fallback in (HOLD, RECALIBRATE):
        mode, fill = FILL, processor.protection.hold_mmHg
    elif fallback == VENTED:
        mode = VENT
    set_point = orders.set_point[k]
    if fault.active:
        set_point = set_point * fault.set_point_gain + fault.set_point_shift_mmHg * light_slope
    if processor.forgetful:
        set_point = 0.0
    return Order(mode, fill, set_point, light_slope)


@inlined
def look(
    protection: Protection, processor: Processor, seen: Watched, light: float, reading_mmHg: float, boot: int,
    forgetful: bool,
) -> Processor:
    """The processor after a tick on which it ran its protection."""
    after = protection_step(protection, processor.protection, seen)
    return Processor(after, seen.clamped_s, 0.0, boot, forgetful, light, reading_mmHg)


@compiled
def run_guarded_ticks(
    plant: Plant, firmware: Firmware, guards: Guards, fault: Disturbance, judge: Judge, clock: Clock, fine_steps: int,
    seed: int, inputs: Inputs, orders: Orders, start: GuardedRun, pending: NDArray[np.float64],
    sums: NDArray[np.float64], first: NDArray[np.float64], trace: NDArray[np.float64],
) -> tuple[GuardedRun, int, int]:
    """Run a block of ticks. Returns the state after it, RUNNING, DIVERGED or EMPTIED, and the ticks done.

    As `run_ticks`; `sums` and `first` (see `experiments.simulation.outcome`) go on being added to, `trace`
    (ticks × FAULT_CHANNELS) is filled unless it has no rows. `fine_steps` are taken on ticks with anything open.
    """
    whole, control, processor, switch, watchdog, dump, relief_open, played, tick = start
    period = clock.period_s
    ticks, ring = len(orders.mode), len(pending)
    powered = fault.power >= LEAST_POWER
    loaded = settings_sum(firmware.coefficients)
    for k in range(ticks):
        state = whole.plant
        around = Surroundings(inputs.arterial_mmHg[k], inputs.tone[k], inputs.ambient[k])
        light = sample_light(plant, state, seed, tick, period)
        reading = sample_pressure(plant, state, seed, tick, clock.drift_mmHg_tick)
        second = switch.sensed_mmHg + guards.pressure_switch.noise_mmHg * gaussian(seed, SECOND_NOISE, tick)
        slope = orders.light_slope[k]
        lost = clock.missed_share > 0.0 and uniform(seed, MISSED, tick) < clock.missed_share
        boot, forgetful, wrong, drift = max(processor.boot - 1, 0), processor.forgetful, 0.0, 0.0
        runs = powered and processor.boot == 0
        if fault.active:
            light, reading = disturbed_samples(
                fault, plant, light, reading, processor.light, processor.reading_mmHg, seed, tick, period
            )
            slope *= fault.error_sign
            wrong = converter_error(fault, plant, processor.light, processor.reading_mmHg)
            drift = fault.emitter_drift_per_s * (tick - fault.onset_tick) * period
            if fault.boot_ticks > 0 and tick == fault.onset_tick:
                boot, forgetful, runs = fault.boot_ticks, True, False
            runs = runs and not fault.hung
            lost = lost or tick_is_lost(fault, seed, tick)
            if not powered:
                forgetful = True
        runs = runs and not lost

        # the processor
        before = processor.protection.fallback
        order = order_now(orders, k, fault, processor, slope)
        previous = pending[(tick + ring - 1) % ring]
        new_control, command, terms, limited = firmware_tick(firmware, control, order, light, reading)
        if runs:
            if fault.doubled:
                new_control, command, terms, limited = firmware_tick(firmware, new_control, order, light, reading)
            late = processor.missed
            if fault.doubled or fault.late_ticks > 0 or fault.late_share > 0.3:
                late += 1.0
            clamped = processor.clamped_s + period if order.mode == CLAMP else 0.0
            emitter = plant.light.emitter * max(1.0 + drift, 0.0) + MONITOR_SD * gaussian(seed, MONITOR_NOISE, tick)
            seen = Watched(
                period, order.mode, clamped, reading, second, state.supply_mmHg,
                pump_flow(plant.supply, state.supply_mmHg), light, order.set_point, slope,
                guards.protection.light_signal.noise, terms.error_mmHg, control.command,
                achieved_demand(firmware.stage, control.command, reading), limited, late,
                switch.tripped or watchdog.expired, loaded, not fault.unsearched, emitter, wrong,
            )
            processor = look(guards.protection, processor, seen, light, reading, boot, forgetful)
            control = new_control
        elif boot > 0 or not powered:
            control = FirmwareState(ControllerState(0.0, 0.0, 0.0, 0.0, 0.0), 0.0, FILL, math.nan)
            processor = Processor(initial_protection(), 0.0, 0.0, boot, forgetful, light, reading)
            command = 0.0
        else:
            command = previous  # nothing runs, the last command stays
            processor = Processor(
                processor.protection, processor.clamped_s, processor.missed + 1.0, boot, forgetful, processor.light,
                processor.reading_mmHg,
            )
        pending[tick % ring] = command

        # what works without it
        node = line_node(plant.tube, state.line, state.cuff_mmHg)
        felt = state.cuff_mmHg if guards.pressure_switch.at_cuff else node
        switch = switch_step(
            guards.pressure_switch, switch, felt, fault.second_gain, fault.second_offset_mmHg, powered, period
        )
        watchdog = watchdog_step(guards.watchdog, watchdog, runs, powered, period)
        vented = processor.protection.fallback == VENTED
        released = vented or switch.tripped or watchdog.expired
        held = dump_holds(guards.dump_valve, fault.power, released)
        dump = dump_step(guards.dump_valve, dump, held, period)
        at_relief = state.cuff_mmHg if guards.relief.at_cuff else node
        relief_open = relief_opens(guards.relief, relief_open, at_relief)

        # what is counted
        since = (tick - judge.onset_tick) * period
        shown = processor.reading_mmHg
        warned = released or processor.protection.fallback != NORMAL or not powered
        acting = max(since, 0.0)  # what acts before the onset counts as acting at it
        if before != VENTED and runs:
            note_detectors(first, processor.protection.fired, acting)
        if relief_open or whole.lift > 1e-6:
            note(first, RELIEF, acting)
        if not held:
            note(first, DUMP, acting)
        if switch.tripped:
            note(first, SWITCH, acting)
        if watchdog.expired:
            note(first, WATCHDOG, acting)
        if since >= 0.0:
            if (released or not powered) and sums[VENT_START] < 0.0:
                sums[VENT_START] = since
            if warned and sums[DETECTED] < 0.0:
                sums[DETECTED], sums[AT_ALARM] = since, sums[WRONG_MEAN]
            trusted = not warned and order.mode == CLAMP
            add_display(sums, judge, shown, trusted, around.arterial_mmHg, around.tone, period)
        add_pressure(sums, judge, state.cuff_mmHg, since, period)

        # valve and plant
        age = clock.whole_ticks + fault.late_ticks
        arriving = valve_play(plant.valve, played, pending[(tick + ring - age) % ring])
        share = clock.share
        if clock.jitter > 0.0:
            share += clock.jitter * uniform(seed, JITTER, tick)
        if fault.active:
            arriving = arriving * fault.command_gain + fault.command_offset
            share = min(share + fault.late_share, 1.0)
        open_dump = guards.dump_valve.conductance * dump
        openings = Openings(
            fault.node_conductance + (0.0 if guards.dump_valve.at_cuff else open_dump),
            fault.cuff_conductance + (open_dump if guards.dump_valve.at_cuff else 0.0),
            fault.feed_conductance, guards.dump_valve.critical_ratio, fault.pump_dead or released or not powered,
            relief_open,
        )
        if len(trace) > 0:
            row = trace[k]
            row[0], row[1], row[2] = around.arterial_mmHg, state.cuff_mmHg, node
            row[3], row[4], row[5] = state.external_mmHg, state.supply_mmHg, arterial_area(plant, state, around)
            row[6], row[7], row[8], row[9] = state.venous_volume, light, reading, command
            row[10], row[11] = order.mode, limited
            row[12], row[13], row[14] = terms.error_mmHg, terms.lead, terms.notch
            row[15], row[16], row[17], row[18] = terms.proportional, terms.integral, terms.derivative, terms.demand
            row[19], row[20], row[21] = second, shown, processor.protection.fallback
            row[22], row[23], row[24], row[25] = processor.protection.fired, dump, whole.lift, arriving
        end = Surroundings(inputs.arterial_mmHg[k + 1], inputs.tone[k + 1], inputs.ambient[k + 1])
        idle = openings.node + openings.cuff + openings.feed + whole.lift == 0.0 and not relief_open
        steps = clock.substeps if idle else float(fine_steps)
        whole = guarded_tick(
            plant, guards.relief, openings, whole, around, end, played, arriving, share, steps, period
        )
        played = arriving
        tick += 1
        now = whole.plant
        if not (abs(now.cuff_mmHg) < CEILING_mmHg and abs(now.photodiode) < 1e6):
            after = GuardedRun(whole, control, processor, switch, watchdog, dump, relief_open, played, tick)
            return after, DIVERGED, k + 1
        latched = vented or switch.tripped or not powered or (watchdog.expired and guards.watchdog.latched)
        over = sums[VENT_START] >= 0.0 and since > sums[VENT_START] + judge.patience_s
        if latched and (over or sums[EMPTY] > EMPTY_s):
            after = GuardedRun(whole, control, processor, switch, watchdog, dump, relief_open, played, tick)
            return after, EMPTIED, k + 1
    return GuardedRun(whole, control, processor, switch, watchdog, dump, relief_open, played, tick), RUNNING, ticks
