"""The process in which somebody's firmware runs: it may die at any tick, and what it leaves is in the shared file."""
from __future__ import annotations

import ctypes
import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

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
    shared_words,
)
from experiments.simulation.coupled import no_commands, run_ticks
from experiments.simulation.simulate import Ready, orders_of

BLOCK = 1000
NO_LIBRARY, NO_FUNCTION, OTHER_ABI = 101, 102, 103  # exit status of what ends before the first tick
FUNCTIONS = ("servo_abi", "servo_start", "servo_tick")
COUNTS = "counts"  # file beside the shared one


def run_child(ready: Ready, target: str | Image, memory: str) -> None:
    """Run every tick of a run with a library, or with an image on its emulated board.

    Ends with a status of its own where it cannot begin.
    """
    os.dup2(2, 1)  # what the firmware prints must not mix with our own output
    words, trace = shared_words(Path(memory), ready.ticks)
    law = ready.loop.firmware.coefficients
    state = np.zeros(STATE_BYTES // 8)
    system = ForeignLoop(ready.loop, 0, state.ctypes.data, words, words.view("float64"), words.ctypes.data,
                         law.output_low, law.output_high, NO_BOARD)
    head = SAMPLE_WORDS + OUTCOME_WORDS
    if isinstance(target, str):
        system, start = _on_this_machine(system, target, ready.period_s)
        told: Callable[[], None] = _nothing
    else:
        system, start, told = _on_a_board(system, target, ready.period_s, Path(memory).with_name(COUNTS))
    run, pending, orders = ready.start, no_commands(system), orders_of(ready)
    run_ticks(system, ready.seed, ready.inputs.part(0, 0), orders.part(0, 0), run, pending, trace[:0])  # compiles
    words[head + records.TICK] = -1
    words[head + STARTED] = 1
    done, status = 0, 0 if start() else records.FAULT
    begun = time.perf_counter_ns()
    while done < ready.ticks and status == 0:
        end = min(done + BLOCK, ready.ticks)
        run, status, count = run_ticks(system, ready.seed, ready.inputs.part(done, end), orders.part(done, end), run,
                                       pending, trace[done:end])
        done += count
        told()
        words[head + DONE], words[head + records.SPENT_ns] = done, time.perf_counter_ns() - begun
    told()
    words[head + DONE], words[head + STATUS] = done, status


def _nothing() -> None:
    """What a run on this machine has to tell: nothing more."""


def _on_this_machine(system: ForeignLoop, library: str, period_s: float) -> tuple[ForeignLoop, Callable[[], bool]]:
    """The loop with a library's function in it, and what starts that."""
    try:
        loaded = ctypes.CDLL(library)
    except OSError:
        os._exit(NO_LIBRARY)
    if not all(hasattr(loaded, name) for name in FUNCTIONS):
        os._exit(NO_FUNCTION)
    loaded.servo_abi.restype = ctypes.c_uint32
    loaded.servo_start.argtypes = [ctypes.c_void_p, ctypes.c_double]
    loaded.servo_start.restype = None
    if loaded.servo_abi() != ABI:
        os._exit(OTHER_ABI)

    def start() -> bool:
        loaded.servo_start(system.state, period_s)
        return True

    return system._replace(address=ctypes.cast(loaded.servo_tick, ctypes.c_void_p).value or 0), start


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
            desk[board_records.FAULT_AT] = engine.at
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

    return system._replace(board=engine.board), start, told
