"""The coupled simulation: the firmware on its tick, the continuous plant in between.

One compiled loop; time is the tick number. Dead time is exact: the command in force changes at its share of the tick.
"""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.tick.firmware import Firmware, FirmwareState, Order, firmware_tick
from controller.tick.inverse import Direct, FlowInverse  # noqa: F401  (their verbs must be registered before compiling)
from controller.tick.timing import Timing
from plant.assembly import Inputs, Plant, PlantState, Surroundings, arterial_area, plant_tick
from plant.declare import compiled, fused, inlined
from plant.electronics.converter import convert
from plant.finger.light import flicker_sample
from plant.numerics.integrate import put, selected
from plant.numerics.noise import JITTER, LIGHT, MISSED, PRESSURE, gaussian, uniform
from plant.numerics.vector import anywhere, choose
from plant.parts import line_node, valve_play

CHANNELS = (
    "arterial_mmHg", "cuff_mmHg", "node_mmHg", "external_mmHg", "supply_mmHg", "area", "venous_volume", "light",
    "reading_mmHg", "command", "mode", "limited", "error_mmHg", "lead", "notch", "proportional", "integral",
    "derivative", "demand",
)
RUNNING, DIVERGED = 0, 1
Row = tuple[float, ...]  # one value a channel
CEILING_mmHg = 3000.0  # no supply goes beyond: a pressure above it is a run that has diverged


class Orders(NamedTuple):
    """What the firmware is asked on each tick."""

    mode: NDArray[np.int64]
    fill_mmHg: NDArray[np.float64]
    set_point: NDArray[np.float64]
    light_slope: NDArray[np.float64]

    def part(self, first: int, end: int) -> Orders:
        """The same for ticks first … end."""
        block = slice(first, end)
        return Orders(self.mode[block], self.fill_mmHg[block], self.set_point[block], self.light_slope[block])


class Clock(NamedTuple):
    """Timing as the kernel needs it."""

    period_s: float
    whole_ticks: int
    share: float
    jitter: float  # largest extra delay, share of a tick
    missed_share: float
    substeps: float  # Runge–Kutta steps a tick, a whole number
    drift_mmHg_tick: float  # transducer offset drift


class RunState(NamedTuple):
    """Everything that goes from one block of ticks to the next."""

    plant: PlantState
    firmware: FirmwareState
    played: float  # valve command behind its hysteresis, now in force
    tick: int


@inlined
def sample_light(plant: Plant, state: PlantState, seed: int, tick: int, period_s: float) -> float:
    """Light as the firmware reads it: photodiode, flicker, noise, converter."""
    raw = state.photodiode
    if anywhere(plant.light.flicker > 0.0):
        raw = raw + flicker_sample(plant.light, tick * period_s)
    raw = raw + plant.light.noise * gaussian(seed, LIGHT, tick)
    return convert(raw, 0.0, 1.0, 2.0**-plant.light.bits if plant.light.bits > 0 else 0.0)


@inlined
def sample_pressure(plant: Plant, state: PlantState, seed: int, tick: int, drift_mmHg_tick: float) -> float:
    """Pressure as the firmware reads it: transducer, drift, noise, converter."""
    transducer = plant.transducer
    raw = state.reading_mmHg + drift_mmHg_tick * tick + transducer.noise_mmHg * gaussian(seed, PRESSURE, tick)
    step = transducer.full_scale_mmHg * (2.0**-transducer.bits if transducer.bits > 0 else 0.0)
    return convert(raw, -0.1 * transducer.full_scale_mmHg, transducer.full_scale_mmHg, step)


@fused
def firmware_part(
    plant: Plant, firmware: Firmware, clock: Clock, seed: int, tick: int, around: Surroundings, order: Order,
    state: PlantState, control: FirmwareState, previous: float,
) -> tuple[FirmwareState, float, Row]:
    """What happens at a tick: sample, firmware. Its new state, the command put out, and the row of CHANNELS."""
    light = sample_light(plant, state, seed, tick, clock.period_s)
    reading = sample_pressure(plant, state, seed, tick, clock.drift_mmHg_tick)
    new_control, command, terms, limited = firmware_tick(firmware, control, order, light, reading)
    if anywhere(clock.missed_share > 0.0):  # the processor was busy: nothing runs, the last command stays
        missed = uniform(seed, MISSED, tick) < clock.missed_share
        command = choose(missed, previous, command)
        new_control = selected(missed, control, new_control)
    row = (
        around.arterial_mmHg, state.cuff_mmHg, line_node(plant.tube, state.line, state.cuff_mmHg), state.external_mmHg,
        state.supply_mmHg, arterial_area(plant, state, around), state.venous_volume, light, reading, command,
        1.0 * order.mode, choose(limited, 1.0, 0.0), terms.error_mmHg, terms.lead, terms.notch, terms.proportional,
        terms.integral, terms.derivative, terms.demand,
    )
    return new_control, command, row


@fused
def plant_part(
    plant: Plant, clock: Clock, seed: int, tick: int, start: Surroundings, end: Surroundings, state: PlantState,
    played: float, due: float,
) -> tuple[PlantState, float, bool]:
    """What happens until the next tick, when the command that is due arrives on its share of this one.

    The new state, the command in force behind the valve's play, and whether the state is still one of a real plant.
    """
    arriving = valve_play(plant.valve, played, due)
    share = clock.share
    if anywhere(clock.jitter > 0.0):
        share = share + clock.jitter * uniform(seed, JITTER, tick)
    after = plant_tick(plant, state, start, end, played, arriving, share, clock.substeps, clock.period_s)
    return after, arriving, (abs(after.cuff_mmHg) < CEILING_mmHg) & (abs(after.photodiode) < 1e6)


@compiled
def run_ticks(
    plant: Plant, firmware: Firmware, clock: Clock, seed: int, inputs: Inputs, orders: Orders, start: RunState,
    pending: NDArray[np.float64], trace: NDArray[np.float64],
) -> tuple[RunState, int, int]:
    """Run a block of ticks. Returns the state after it, RUNNING or DIVERGED, and the ticks done.

    inputs and orders are the block's own slices; `pending` (w + 2 commands, a ring by tick) and `trace`
    (ticks × CHANNELS) are filled in place.
    """
    state, control, played, tick = start
    ticks = len(orders.mode)
    ring = len(pending)
    for k in range(ticks):
        around = Surroundings(inputs.arterial_mmHg[k], inputs.tone[k], inputs.ambient[k])
        order = Order(orders.mode[k], orders.fill_mmHg[k], orders.set_point[k], orders.light_slope[k])
        previous = pending[(tick + ring - 1) % ring]
        control, command, row = firmware_part(
            plant, firmware, clock, seed, tick, around, order, state, control, previous)
        pending[tick % ring] = command
        put(row, trace[k])
        end = Surroundings(inputs.arterial_mmHg[k + 1], inputs.tone[k + 1], inputs.ambient[k + 1])
        due = pending[(tick + ring - clock.whole_ticks) % ring]
        state, played, sound = plant_part(plant, clock, seed, tick, around, end, state, played, due)
        tick += 1
        if not sound:
            return RunState(state, control, played, tick), DIVERGED, k + 1
    return RunState(state, control, played, tick), RUNNING, ticks


def start_clock(timing: Timing, whole_ticks: int, share: float, substeps: int, drift_mmHg_h: float) -> Clock:
    """The kernel's clock from declared timing."""
    return Clock(
        timing.period_s, whole_ticks, share, timing.jitter_s / timing.period_s, timing.missed_share, float(substeps),
        drift_mmHg_h * timing.period_s / 3600.0,
    )
