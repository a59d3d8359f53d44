"""The records that go through `pressure_servo.h`, as memory that two processes share, and the loop with a C address.

Both records are eight words of eight bytes. What is in them when a process dies is what its firmware saw last.
"""
from __future__ import annotations

from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from llvmlite import ir
from numba import types
from numba.extending import intrinsic
from numpy.typing import NDArray

from controller.tick.firmware import FirmwareState, Order
from controller.tick.law import Terms
from experiments.firmware.board.engine import emulated_tick
from experiments.firmware.board.records import ERROR, Board
from experiments.simulation.coupled import (
    CHANNELS,
    DIVERGED,
    RUNNING,
    Answer,
    ClosedLoop,
    Decision,
    Instant,
    Row,
    RunState,
    Sample,
    Samples,
    Telemetry,
    channels_of,
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
from plant.assembly import Switchover, plant_tick
from plant.declare import compiled, fused
from plant.parts import valve_play

Words = NDArray[np.int64]
NOT_FINITE, FAULT = 3, 4  # status of a run whose firmware answered no number, or failed on the emulated board
SAMPLE_WORDS, OUTCOME_WORDS, NOTE_WORDS, STATE_BYTES = 8, 8, 10, 65536
TICK, INSIDE, BEYOND, FIRST_BEYOND, STARTED, DONE, STATUS, SPENT_ns, COLD, DEAD_FROM = range(10)  # of the notes
VERSION = 1
ABI = VERSION << 16 | 8 * (SAMPLE_WORDS + OUTCOME_WORDS)


class Servo(NamedTuple):
    """A firmware behind an address, with what goes to it and comes from it."""

    address: int  # of servo_tick
    start: int  # of servo_start
    state: Samples  # its memory
    words: Words  # samples, outcome and notes
    reals: Samples  # the same memory
    begin: int  # address of both records
    low: float  # end of the command's range
    high: float
    board: Board  # where the firmware runs instead, if it does


class ForeignLoop(NamedTuple):
    """A plant and its timing, with somebody's firmware."""

    loop: ClosedLoop
    servo: Servo


@intrinsic
def call_tick(typing, address, state, samples, outcome):  # type: ignore[no-untyped-def]
    """Call servo_tick at an address with three pointers."""

    def build(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        pointer = ir.IntType(8).as_pointer()
        kind = ir.FunctionType(ir.VoidType(), [pointer] * 3)
        function = builder.inttoptr(args[0], kind.as_pointer())
        builder.call(function, [builder.inttoptr(arg, pointer) for arg in args[1:]])
        return context.get_dummy_value()

    return types.void(types.int64, types.int64, types.int64, types.int64), build


@intrinsic
def call_start(typing, address, state, period_s):  # type: ignore[no-untyped-def]
    """Call servo_start at an address with its memory and the tick [s]."""

    def build(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        pointer = ir.IntType(8).as_pointer()
        kind = ir.FunctionType(ir.VoidType(), [pointer, ir.DoubleType()])
        function = builder.inttoptr(args[0], kind.as_pointer())
        builder.call(function, [builder.inttoptr(args[1], pointer), args[2]])
        return context.get_dummy_value()

    return types.void(types.int64, types.int64, types.float64), build


def shared_words(path: Path, ticks: int) -> tuple[Words, Samples]:
    """Records, notes and a trace row a tick in a file that both processes map: words and the trace."""
    head = SAMPLE_WORDS + OUTCOME_WORDS + NOTE_WORDS
    size = 8 * (head + ticks * len(CHANNELS))
    if not path.exists():
        with path.open("wb") as file:
            file.truncate(size)
    memory = np.memmap(path, np.uint8, "r+", shape=(size,))
    words = np.frombuffer(memory, np.int64, head)
    trace = np.frombuffer(memory, np.float64, ticks * len(CHANNELS), 8 * head).reshape(ticks, len(CHANNELS))
    return words, trace


@channels_of.register
def _(system: ForeignLoop) -> tuple[str, ...]:
    return CHANNELS


@loop_of.register
def _(system: ForeignLoop) -> ClosedLoop:
    return system.loop


@ring_of.register
def _(system: ForeignLoop) -> int:
    return system.loop.clock.whole_ticks + 2


@compiled
def served(servo: Servo, tick: int, order: Order, sample: Sample, period_s: float) -> tuple[float, bool]:
    """What a firmware answers to a sample: its command, held to the range, and whether it says that a limit acted."""
    words, reals = servo.words, servo.reals
    if words[16 + COLD] != 0:
        servo.state[:] = 0.0
        call_start(servo.start, servo.state.ctypes.data, period_s)
        words[16 + COLD] = 0
    words[0], words[1] = tick, order.mode
    reals[2], reals[3], reals[4] = sample.light, sample.reading_mmHg, order.fill_mmHg
    reals[5], reals[6], reals[7] = order.set_point, order.light_slope, period_s
    words[16 + TICK], words[16 + INSIDE], words[16 + STARTED] = tick, 1, 1
    if servo.board.engine == 0:
        call_tick(servo.address, servo.state.ctypes.data, servo.begin, servo.begin + 64)
        words[16 + INSIDE] = 0
    elif emulated_tick(servo.board, tick, words):
        words[16 + INSIDE] = 0
    command = reals[8]
    if command < servo.low or command > servo.high:
        if words[16 + BEYOND] == 0:
            words[16 + FIRST_BEYOND] = tick
        words[16 + BEYOND] += 1
        command = min(max(command, servo.low), servo.high)
    return command, words[9] != 0


@fused
def foreign_answer(
    servo: Servo, before: FirmwareState, now: Instant, order: Order, sample: Sample, period_s: float
) -> tuple[FirmwareState, Answer]:
    """The same as our own firmware would put it; what only that has is no number."""
    command, limited = served(servo, now.tick, order, sample, period_s)
    nothing, error = np.nan, (order.set_point - sample.light) / order.light_slope
    terms = Terms(error, nothing, nothing, nothing, nothing, nothing, nothing)
    after = FirmwareState(before.control, command, order.mode, before.set_point, before.arrived)
    return after, Answer(command, order.mode, limited, terms)


@system_decides.of(ForeignLoop)
def foreign_decides(
    system: ForeignLoop, now: Instant, run: RunState, pending: Samples, group: int
) -> tuple[Decision, Telemetry]:
    """First half of a tick: sample, and whatever is behind the address."""
    loop, order = system.loop, now.order
    sample, ring, nothing = take_sample(loop, run.plant, now), len(pending), np.nan
    previous = pending[(now.tick + ring - 1) % ring]
    error = (order.set_point - sample.light) / order.light_slope
    terms = Terms(error, nothing, nothing, nothing, nothing, nothing, nothing)
    before = run.firmware
    kept = FirmwareState(before.control, previous, order.mode, before.set_point, before.arrived)
    answer = Answer(previous, order.mode, False, terms)
    if not is_missed(loop, now):
        kept, answer = foreign_answer(system.servo, before, now, order, sample, loop.clock.period_s)
    pending[now.tick % ring] = answer.command
    due = pending[(now.tick + ring - loop.clock.whole_ticks) % ring]
    change = Switchover(run.played, valve_play(loop.plant.valve, run.played, due), switch_share(loop, now))
    return Decision(kept, change), Telemetry(sample, answer)


@system_moves.of(ForeignLoop)
def foreign_moves(system: ForeignLoop, now: Instant, run: RunState, made: Decision) -> tuple[RunState, int]:
    """Second half: the plant until the next tick; a command that is no number ends the run."""
    clock = system.loop.clock
    after = plant_tick(system.loop.plant, run.plant, now.course, made.command, clock.substeps, clock.period_s)
    status = RUNNING if is_sound(after) else DIVERGED
    if not np.isfinite(made.firmware.command):
        status = NOT_FINITE
    if system.servo.board.desk[ERROR] != 0:
        status = FAULT
    return RunState(after, made.firmware, made.command.new, run.tick + 1), status


@system_row.of(ForeignLoop)
def foreign_tells(system: ForeignLoop, now: Instant, run: RunState, told: Telemetry) -> Row:
    """One value for each of CHANNELS; what only our own law has is no number."""
    return loop_row(system.loop, now, run.plant, told.sample, told.answer)
