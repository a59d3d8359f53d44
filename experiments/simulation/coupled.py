"""The coupled simulation: the firmware on its tick, the continuous plant in between.

What runs is a *system*: `ClosedLoop` here, `ProtectedLoop` of `experiments.simulation.protected` with protection and
failures. It answers three verbs, one after the other on each tick: `system_decides` (sample, firmware), `system_row`
(what there is to tell) and `system_moves` (the plant until the next tick). They are pure functions, written for one
finger and for many (`experiments.simulation.lanes`). Here is the loop that runs one of them, compiled once for each
kind of system; time is the tick number, and dead time is exact: the command in force changes at its share of the tick.
"""
from __future__ import annotations

from functools import singledispatch
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.tick.firmware import FILL, Firmware, FirmwareState, Order, firmware_tick
from controller.tick.inverse import Direct, FlowInverse  # noqa: F401  (their verbs must be registered before compiling)
from controller.tick.law import Coefficients, Terms, design, initial_control
from controller.tick.timing import dead_ticks
from experiments.rigs.rig import Rig
from plant.assembly import Course, Inputs, Plant, PlantState, Surroundings, Switchover, arterial_area, plant_tick
from plant.declare import compiled, fused, inlined, verb
from plant.electronics.converter import convert
from plant.finger.light import ambient_seen, flicker_sample, noise_factor
from plant.numerics.integrate import put, selected
from plant.numerics.layout import row_of, set_row
from plant.numerics.noise import JITTER, LIGHT, MISSED, PRESSURE, gaussian, uniform
from plant.numerics.vector import anywhere, choose
from plant.parts import line_node, valve_play

CHANNELS = (
    "arterial_mmHg", "cuff_mmHg", "node_mmHg", "external_mmHg", "supply_mmHg", "area", "venous_volume", "light",
    "reading_mmHg", "command", "mode", "limited", "error_mmHg", "lead_mmHg", "notch_mmHg", "proportional", "integral",
    "derivative", "demand",
)
RUNNING, DIVERGED = 0, 1
Row = tuple[float, ...]  # one value a channel
Samples = NDArray[np.float64]
CEILING_mmHg = 3000.0  # no supply goes beyond: a pressure above it is a run that has diverged


# --- what a run is made of ------------------------------------------------------------------------------------------


class Orders(NamedTuple):
    """What the firmware is asked on each tick."""

    mode: NDArray[np.int64]
    fill_mmHg: Samples
    set_point: Samples
    light_slope: Samples

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


class ClosedLoop(NamedTuple):
    """The system without protection or failures: a plant, its firmware and their timing."""

    plant: Plant
    firmware: Firmware
    clock: Clock


class Instant(NamedTuple):
    """What comes to a system from outside on one tick."""

    seed: int  # of its noise
    tick: int
    course: Course  # surroundings at both ends of the tick
    order: Order


class RunState(NamedTuple):
    """Everything that goes from one block of ticks to the next."""

    plant: PlantState
    firmware: FirmwareState
    played: float  # valve command behind its hysteresis, now in force
    tick: int


class Sample(NamedTuple):
    """What the firmware reads on a tick."""

    light: float  # share of full scale
    reading_mmHg: float


class Answer(NamedTuple):
    """What the firmware made of a sample."""

    command: float  # put out on this tick
    mode: int  # carried out
    limited: bool
    terms: Terms


class Telemetry(NamedTuple):
    """What a tick has to tell, besides the state that it began with."""

    sample: Sample
    answer: Answer


class Decision(NamedTuple):
    """What the first half of a tick hands to the second."""

    firmware: FirmwareState
    command: Switchover  # as it reaches the valve


system_decides = verb("system_decides", merged=True)  # (system, now, run, pending, group) -> (decision, telemetry)
system_row = verb("system_row", merged=True)  # (system, now, run before, telemetry) -> one value a channel
system_moves = verb("system_moves", merged=True)  # (system, now, run, decision) -> (run, status)


@singledispatch
def channels_of(system: Any) -> tuple[str, ...]:
    """The channels of a kind of system, in the order of `system_row`."""
    raise TypeError(f"{type(system).__name__} is no system")


@singledispatch
def loop_of(system: Any) -> ClosedLoop:
    """The loop in a system."""
    raise TypeError(f"{type(system).__name__} is no system")


@singledispatch
def ring_of(system: Any) -> int:
    """Places in a system's ring of commands under way."""
    raise TypeError(f"{type(system).__name__} is no system")


@channels_of.register
def _(system: ClosedLoop) -> tuple[str, ...]:
    return CHANNELS


@loop_of.register
def _(system: ClosedLoop) -> ClosedLoop:
    return system


@ring_of.register
def _(system: ClosedLoop) -> int:
    return system.clock.whole_ticks + 2


def no_commands(system: Any) -> Samples:
    """The commands under way before a run: none, a ring by tick."""
    return np.zeros(ring_of(system))


def closed_loop(rig: Rig, substeps: int, coefficients: Coefficients | None = None) -> ClosedLoop:
    """A rig's loop with so many Runge–Kutta steps a tick; the control law is the rig's own unless one is given."""
    law = coefficients or design(rig.controller, rig.timing.period_s)
    timing, drift = rig.timing, rig.plant.transducer.drift_mmHg_h
    whole, share = dead_ticks(timing)
    clock = Clock(
        timing.period_s, whole, share, timing.jitter_s / timing.period_s, timing.missed_share, float(substeps),
        drift * timing.period_s / 3600.0,
    )
    return ClosedLoop(rig.plant, Firmware(law, rig.stage, rig.filling), clock)


def at_rest(plant: PlantState) -> RunState:
    """A run that has yet to begin, from a plant at rest."""
    return RunState(plant, FirmwareState(initial_control(), 0.0, FILL), 0.0, 0)


# --- pieces of a tick -----------------------------------------------------------------------------------------------


@inlined
def sample_light(
    plant: Plant, state: PlantState, seed: int, tick: int, period_s: float, ambient: float
) -> float:
    """Light as the firmware reads it: photodiode, flicker, noise, converter; less a dark sample if there is one."""
    raw = state.photodiode
    if anywhere(plant.light.flicker > 0.0):
        raw = raw + flicker_sample(plant.light, tick * period_s)
    raw = raw + plant.light.noise * noise_factor(plant.light) * gaussian(seed, LIGHT, tick)
    step = 2.0**-plant.light.bits if plant.light.bits > 0 else 0.0
    if anywhere(plant.light.dark_ms > 0.0):  # both samples meet the converter's limits; a lit one at its top says so
        behind = ambient - ambient_seen(plant.light, ambient)
        lit = convert(raw + behind, 0.0, 1.0, step)
        left: float = choose(lit >= 1.0 - step, lit, lit - convert(behind, 0.0, 1.0, step))
        return max(left, 0.0)
    return convert(raw, 0.0, 1.0, step)


@inlined
def sample_pressure(plant: Plant, state: PlantState, seed: int, tick: int, drift_mmHg_tick: float) -> float:
    """Pressure as the firmware reads it: transducer, drift, noise, converter."""
    transducer = plant.transducer
    raw = state.reading_mmHg + drift_mmHg_tick * tick + transducer.noise_mmHg * gaussian(seed, PRESSURE, tick)
    step = transducer.full_scale_mmHg * (2.0**-transducer.bits if transducer.bits > 0 else 0.0)
    return convert(raw, -0.1 * transducer.full_scale_mmHg, transducer.full_scale_mmHg, step)


@fused
def take_sample(loop: ClosedLoop, state: PlantState, now: Instant) -> Sample:
    """Light and pressure at the beginning of a tick."""
    clock = loop.clock
    return Sample(
        sample_light(loop.plant, state, now.seed, now.tick, clock.period_s, now.course.start.ambient),
        sample_pressure(loop.plant, state, now.seed, now.tick, clock.drift_mmHg_tick),
    )


@fused
def firmware_part(
    loop: ClosedLoop, state: FirmwareState, order: Order, sample: Sample
) -> tuple[FirmwareState, Answer]:
    """The firmware's new state and what it answers to a sample."""
    after, command, terms, limited = firmware_tick(loop.firmware, state, order, sample.light, sample.reading_mmHg)
    return after, Answer(command, order.mode, limited, terms)


@fused
def is_missed(loop: ClosedLoop, now: Instant) -> bool:
    """Whether the processor is busy on this tick: nothing runs then."""
    missed = False
    if anywhere(loop.clock.missed_share > 0.0):
        missed = uniform(now.seed, MISSED, now.tick) < loop.clock.missed_share
    return missed


@fused
def switch_share(loop: ClosedLoop, now: Instant) -> float:
    """Share of this tick at which the command that is due arrives."""
    share = loop.clock.share
    if anywhere(loop.clock.jitter > 0.0):
        share = share + loop.clock.jitter * uniform(now.seed, JITTER, now.tick)
    return share


@fused
def is_sound(state: PlantState) -> bool:
    """Whether a state is still one of a real plant."""
    return (abs(state.cuff_mmHg) < CEILING_mmHg) & (abs(state.photodiode) < 1e6)


@fused
def loop_row(loop: ClosedLoop, now: Instant, state: PlantState, sample: Sample, answer: Answer) -> Row:
    """One value for each of CHANNELS; `state` is the plant's at the beginning of the tick."""
    terms, around = answer.terms, now.course.start
    return (
        around.arterial_mmHg, state.cuff_mmHg, line_node(loop.plant.tube, state.line, state.cuff_mmHg),
        state.external_mmHg, state.supply_mmHg, arterial_area(loop.plant, state, around), state.venous_volume,
        sample.light, sample.reading_mmHg, answer.command, 1.0 * answer.mode, choose(answer.limited, 1.0, 0.0),
        terms.error_mmHg, terms.lead, terms.notch, terms.proportional, terms.integral, terms.derivative, terms.demand,
    )


# --- a tick ---------------------------------------------------------------------------------------------------------


@system_decides.of(ClosedLoop)
def loop_decides(
    system: ClosedLoop, now: Instant, run: RunState, pending: Samples, group: int
) -> tuple[Decision, Telemetry]:
    """First half of a tick: sample and firmware.

    `pending` are commands under way, a ring by tick (of a `group` of fingers), to which this tick's is added.
    """
    plant, clock, ring = system.plant, system.clock, len(pending)
    sample = take_sample(system, run.plant, now)
    control, answer = firmware_part(system, run.firmware, now.order, sample)
    command, missed = answer.command, is_missed(system, now)
    if anywhere(missed):  # nothing runs, the last command stays
        command = choose(missed, row_of(pending, (now.tick + ring - 1) % ring, group), command)
        control = selected(missed, run.firmware, control)
    set_row(pending, now.tick % ring, group, command)
    arriving = valve_play(plant.valve, run.played, row_of(pending, (now.tick + ring - clock.whole_ticks) % ring, group))
    change = Switchover(run.played, arriving, switch_share(system, now))
    told = Telemetry(sample, Answer(command, answer.mode, answer.limited, answer.terms))
    return Decision(control, change), told


@system_moves.of(ClosedLoop)
def loop_moves(system: ClosedLoop, now: Instant, run: RunState, made: Decision) -> tuple[RunState, int]:
    """Second half: the plant until the next tick. The state after it, and RUNNING or DIVERGED."""
    clock = system.clock
    after = plant_tick(system.plant, run.plant, now.course, made.command, clock.substeps, clock.period_s)
    return RunState(after, made.firmware, made.command.new, run.tick + 1), choose(is_sound(after), RUNNING, DIVERGED)


@system_row.of(ClosedLoop)
def loop_tells(system: ClosedLoop, now: Instant, run: RunState, told: Telemetry) -> Row:
    """One value for each of CHANNELS; `run` is the state before the tick."""
    return loop_row(system, now, run.plant, told.sample, told.answer)


# --- the loop -------------------------------------------------------------------------------------------------------


@inlined
def surroundings(inputs: Inputs, k: int) -> Surroundings:
    """Surroundings at the beginning of tick k of a block."""
    return Surroundings(inputs.arterial_mmHg[k], inputs.tone[k], inputs.ambient[k])


@compiled
def run_ticks(
    system: Any, seed: int, inputs: Inputs, orders: Orders, start: Any, pending: Samples, trace: Samples
) -> tuple[Any, int, int]:
    """Run a block of ticks. Returns the state after it, RUNNING or why it ended early, and the ticks done.

    inputs and orders are the block's own slices; `pending` (see `no_commands`) and, unless it has no rows, `trace`
    (ticks × channels) are filled in place.
    """
    run, ticks = start, len(orders.mode)
    for k in range(ticks):
        order = Order(orders.mode[k], orders.fill_mmHg[k], orders.set_point[k], orders.light_slope[k])
        now = Instant(seed, run.tick, Course(surroundings(inputs, k), surroundings(inputs, k + 1)), order)
        made, told = system_decides(system, now, run, pending, 0)
        if len(trace) > 0:
            put(system_row(system, now, run, told), trace[k])
        run, status = system_moves(system, now, run, made)
        if status != RUNNING:
            return run, status, k + 1
    return run, RUNNING, ticks
