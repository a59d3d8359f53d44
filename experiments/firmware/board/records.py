"""What the kernel knows of an emulated board, and the words in which its counts stand."""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

DIVISION = 1000  # kind of a fault, beside the emulator's own
REGISTERS = 5  # r0, r1, r2, stack pointer, return address
DESK_WORDS = 16
(INSTRUCTIONS, CYCLES, BLOCK_AT, FIRST, HALFWORDS, MOST_INSTRUCTIONS, MOST_CYCLES, MOST_TICK, TICKS, ERROR, FAULT_AT,
 FAULT_KIND, FAULT_ADDRESS, STACK, STATE_USED, CALLED_AT) = range(16)  # words of the desk


class Board(NamedTuple):
    """An emulator as compiled code calls it; engine is 0 where there is none."""

    engine: int
    run: int  # address of the function that runs until an address
    write: int  # address of the function that sets registers
    entry: int  # of the firmware's tick, in the emulated memory
    back: int  # where that returns to
    registers: int  # address of their numbers
    places: int  # address of pointers to what they are set to
    desk: NDArray[np.int64]  # counts, then the running sums behind them
    guest: NDArray[np.int64]  # samples and outcome, in the emulated memory


def no_board() -> Board:
    """The record where firmware runs on this machine itself."""
    return Board(0, 0, 0, 0, 0, 0, 0, np.zeros(DESK_WORDS, np.int64), np.zeros(16, np.int64))


NO_BOARD = no_board()
