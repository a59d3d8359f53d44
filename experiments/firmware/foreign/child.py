"""The process in which somebody's firmware runs: it may die at any tick, and what it leaves is in the shared file."""
from __future__ import annotations

import ctypes
import os
import time
from collections.abc import Callable
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from experiments.firmware.board import records as board_records
from experiments.firmware.board.image import Image
from experiments.firmware.board.records import NO_BOARD
from experiments.firmware.foreign import records
from experiments.firmware.foreign.records import (
    ABI,
    DONE,
    OUTCOME_WORDS,
    SAMPLE_WORDS,
    STARTED,
    STATE_BYTES,
    STATUS,
    ForeignLoop,
    Servo,
    shared_words,
)
from experiments.simulation.coupled import CHANNELS, RUNNING, ClosedLoop, Orders, RunState, no_commands, run_ticks
from experiments.simulation.simulate import Ready, orders_of
from plant.assembly import Inputs

BLOCK = 1000
HEAD = SAMPLE_WORDS + OUTCOME_WORDS  # words before the notes
NO_LIBRARY, NO_FUNCTION, OTHER_ABI = 101, 102, 103  # exit status of what ends before the first tick
FUNCTIONS = ("servo_abi", "servo_start", "servo_tick")
COUNTS = "counts"  # file beside the shared one


def run_child(ready: Ready, target: str | Image, memory: str) -> None:
    """Run every tick of a run with a library, or with an image on its emulated board.

    Ends with a status of its own where it cannot begin.
    """
    os.dup2(2, 1)  # what the firmware prints must not mix with our own output
    words, trace = shared_words(Path(memory), ready.ticks)
    system, start, told = _loaded(bare_loop(ready.loop, words), target, ready.period_s, Path(memory))
    run, pending, orders = ready.start, no_commands(system), orders_of(ready)
    warm(system, ready.inputs, orders, run)
    words[HEAD + records.TICK] = -1
    words[HEAD + STARTED] = 1
    done, status = 0, 0 if start() else records.FAULT
    begun = time.perf_counter_ns()
    while done < ready.ticks and status == 0:
        end = min(done + BLOCK, ready.ticks)
        run, status, count = run_ticks(system, ready.seed, ready.inputs.part(done, end), orders.part(done, end), run,
                                       pending, trace[done:end])
        done += count
        told()
        words[HEAD + DONE], words[HEAD + records.SPENT_ns] = done, time.perf_counter_ns() - begun
    told()
    words[HEAD + DONE], words[HEAD + STATUS] = done, status


class Asked(NamedTuple):
    """What a session's firmware runs in: all but what comes request by request."""

    loop: ClosedLoop
    start: RunState
    seed: int
    ticks: int  # at most


def run_session(asked: Asked, target: str, memory: str, door: Connection) -> None:
    """Run blocks of ticks as they are asked for through a pipe, until its other end is closed."""
    os.dup2(2, 1)
    words, trace = shared_words(Path(memory), asked.ticks)
    period_s = asked.loop.clock.period_s
    system, start, _ = _loaded(bare_loop(asked.loop, words), target, period_s, Path(memory))
    run, pending, status = asked.start, no_commands(system), RUNNING
    words[HEAD + records.TICK] = -1
    begun = False
    while status == RUNNING:
        try:
            inputs, orders = door.recv()
        except EOFError:
            return
        if not begun:
            warm(system, inputs, orders, run)
            words[HEAD + STARTED] = 1
            begun = start()
        first, end = run.tick, run.tick + len(orders.mode)
        run, status, count = run_ticks(system, asked.seed, inputs, orders, run, pending, trace[first:end])
        words[HEAD + DONE], words[HEAD + STATUS] = first + count, status
        door.send((run, status, count))


def bare_loop(loop: ClosedLoop, words: records.Words) -> ForeignLoop:
    """A loop with nobody's firmware behind its address yet."""
    return ForeignLoop(loop, bare_servo(loop, words))


def bare_servo(loop: ClosedLoop, words: records.Words) -> Servo:
    """Memory for a firmware that is still to be loaded; `words` are records and notes."""
    law = loop.firmware.coefficients
    return Servo(0, 0, np.zeros(STATE_BYTES // 8), words, words.view("float64"), words.ctypes.data, law.output_low,
                 law.output_high, NO_BOARD)


def warm(system: ForeignLoop, inputs: Inputs, orders: Orders, start: RunState) -> None:
    """Compile what runs the ticks, or load what was compiled, by running none."""
    run_ticks(system, 0, inputs.part(0, 0), orders.part(0, 0), start, no_commands(system),
              np.zeros((0, len(CHANNELS))))


def warm_for(ready: Ready) -> None:
    """The same for a run of this kind that is still to come."""
    words = np.zeros(HEAD + records.NOTE_WORDS, np.int64)
    warm(bare_loop(ready.loop, words), ready.inputs, orders_of(ready), ready.start)


def _loaded(
    system: ForeignLoop, target: str | Image, period_s: float, memory: Path
) -> tuple[ForeignLoop, Callable[[], bool], Callable[[], None]]:
    """The loop with a firmware in it, what starts it, and what keeps a board's figures."""
    if not isinstance(target, str):
        return _on_a_board(system, target, period_s, memory.with_name(COUNTS))
    servo = loaded_servo(system.servo, target)
    first = ctypes.CFUNCTYPE(None, ctypes.c_void_p, ctypes.c_double)(servo.start)

    def start() -> bool:
        first(servo.state.ctypes.data, period_s)
        return True

    return system._replace(servo=servo), start, _nothing


def _nothing() -> None:
    """What a run on this machine has to tell: nothing more."""


def loaded_servo(servo: Servo, library: str) -> Servo:
    """The same with a library's functions in it; the process ends with a status of its own where it has them not."""
    try:
        loaded = ctypes.CDLL(library)
    except OSError:
        os._exit(NO_LIBRARY)
    if not all(hasattr(loaded, name) for name in FUNCTIONS):
        os._exit(NO_FUNCTION)
    loaded.servo_abi.restype = ctypes.c_uint32
    if loaded.servo_abi() != ABI:
        os._exit(OTHER_ABI)
    tick, start = (ctypes.cast(loaded[name], ctypes.c_void_p).value or 0 for name in ("servo_tick", "servo_start"))
    return servo._replace(address=tick, start=start)


def _on_a_board(
    system: ForeignLoop, image: Image, period_s: float, counts: Path
) -> tuple[ForeignLoop, Callable[[], bool], Callable[[], None]]:
    """The loop with an emulated board in it, what starts its firmware, and what keeps its figures."""
    import unicorn

    from experiments.firmware.board.engine import STATE, start_engine

    refused: list[int] = [0, 0]

    def noticed(kind: int, address: int) -> bool:
        refused[:] = [kind, address]
        return False

    engine = start_engine(image, STATE_BYTES, counts, noticed)
    desk: Any = engine.board.desk
    if engine.call("servo_abi") != ABI:
        os._exit(OTHER_ABI)

    def told() -> None:
        desk[board_records.STACK] = engine.stack_bytes()
        desk[board_records.STATE_USED] = engine.state_bytes(STATE_BYTES)
        if desk[board_records.ERROR] != 0:
            desk[board_records.FAULT_AT], desk[board_records.CALLED_AT] = engine.at, engine.came_from
            desk[board_records.FAULT_KIND], desk[board_records.FAULT_ADDRESS] = refused

    def start() -> bool:
        try:
            engine.call("servo_start", STATE, real=period_s)
        except unicorn.UcError as error:
            desk[board_records.ERROR] = error.errno
            return False
        finally:
            desk[board_records.INSTRUCTIONS] = desk[board_records.CYCLES] = 0
        return True

    return system._replace(servo=system.servo._replace(board=engine.board)), start, told
