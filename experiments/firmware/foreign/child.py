"""The process in which somebody's firmware runs: it may die at any tick, and what it leaves is in the shared file."""
from __future__ import annotations

import ctypes
import os
from pathlib import Path

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


def run_child(ready: Ready, library: str, memory: str) -> None:
    """Load the library and run every tick of a run; ends with a status of its own where it cannot begin."""
    os.dup2(2, 1)  # what the firmware prints must not mix with our own output
    words, trace = shared_words(Path(memory), ready.ticks)
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
    state = (ctypes.c_double * (STATE_BYTES // 8))()
    law = ready.loop.firmware.coefficients
    address = ctypes.cast(loaded.servo_tick, ctypes.c_void_p).value or 0
    system = ForeignLoop(ready.loop, address, ctypes.addressof(state), words, words.view("float64"),
                         words.ctypes.data, law.output_low, law.output_high)
    head = SAMPLE_WORDS + OUTCOME_WORDS
    run, pending, orders = ready.start, no_commands(system), orders_of(ready)
    run_ticks(system, ready.seed, ready.inputs.part(0, 0), orders.part(0, 0), run, pending, trace[:0])  # compiles
    words[head + records.TICK] = -1
    words[head + STARTED] = 1
    loaded.servo_start(ctypes.addressof(state), ready.period_s)
    done, status = 0, 0
    while done < ready.ticks and status == 0:
        end = min(done + BLOCK, ready.ticks)
        run, status, count = run_ticks(system, ready.seed, ready.inputs.part(done, end), orders.part(done, end), run,
                                       pending, trace[done:end])
        done += count
        words[head + DONE], words[head + STATUS] = done, status
