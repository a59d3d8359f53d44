"""The emulator in the kernel: its entries called from compiled code, its blocks counted by compiled code.

The emulator's library is GPL: it is loaded only here, in the process of one run, and only when a board is asked for.
"""
from __future__ import annotations

import ctypes
import struct
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from llvmlite import ir
from numba import carray, cfunc, types
from numba.extending import intrinsic
from numpy.typing import NDArray

from experiments.firmware.board.costs import divisions, running_sums
from experiments.firmware.board.image import FLASH, FLASH_BYTES, RAM, STACK_BYTES, Image
from experiments.firmware.board.records import (
    BLOCK_AT,
    CYCLES,
    DESK_WORDS,
    DIVISION,
    ERROR,
    FIRST,
    HALFWORDS,
    INSTRUCTIONS,
    MOST_CYCLES,
    MOST_INSTRUCTIONS,
    MOST_TICK,
    REGISTERS,
    TICKS,
    Board,
)
from plant.declare import compiled
from plant.errors import InputError

PAGE, RAM_BYTES = 0x1000, 0x10_0000
STATE, RECORDS, BACK = 0x3000_0000, 0x3800_0000, 0x0FFF_0000  # the firmware's memory, both records, where it returns to
TRAP = BACK + PAGE // 2  # instructions that are none
PAINT = 0xC5
MODELS = {"m0": "CORTEX_M0", "m3": "CORTEX_M3", "m4f": "CORTEX_M4", "m7f": "CORTEX_M7"}


@intrinsic
def call_engine(typing, address, first, second, third, fourth, fifth):  # type: ignore[no-untyped-def]
    """Call a C function at an address with five whole numbers or pointers; its 32-bit answer."""

    def build(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        word, half = ir.IntType(64), ir.IntType(32)
        function = builder.inttoptr(args[0], ir.FunctionType(half, [word] * 5).as_pointer())
        return builder.sext(builder.call(function, args[1:]), word)

    return types.int64(*[types.int64] * 6), build


@cfunc("void(voidptr, uint64, uint32, voidptr)", cache=True)
def count_block(engine, address, size, desk_at):  # type: ignore[no-untyped-def]
    """Count a block of machine code that is about to run."""
    head = carray(desk_at, DESK_WORDS, np.int64)
    first, halfwords = (np.int64(address) - head[FIRST]) // 2, head[HALFWORDS]
    head[BLOCK_AT] = np.int64(address)
    last = first + np.int64(size) // 2
    if first >= 0 and last <= halfwords:
        desk = carray(desk_at, DESK_WORDS + 2 * (halfwords + 1), np.int64)
        counts, cycles = desk[DESK_WORDS:], desk[DESK_WORDS + halfwords + 1:]
        head[INSTRUCTIONS] += counts[last] - counts[first]
        head[CYCLES] += cycles[last] - cycles[first]


@compiled
def emulated_tick(board: Board, tick: int, words: NDArray[np.int64]) -> bool:
    """One tick on a board: records in, the firmware's function, records out. False where it failed."""
    guest, desk = board.guest, board.desk
    for i in range(8):
        guest[i] = words[i]
    counted, spent = desk[INSTRUCTIONS], desk[CYCLES]
    call_engine(board.write, board.engine, board.registers, board.places, REGISTERS, 0)
    status = call_engine(board.run, board.engine, board.entry, board.back, 0, 0)
    for i in range(8, 16):
        words[i] = guest[i]
    counted, spent = desk[INSTRUCTIONS] - counted, desk[CYCLES] - spent
    desk[TICKS] += 1
    desk[MOST_INSTRUCTIONS] = max(desk[MOST_INSTRUCTIONS], counted)
    if spent > desk[MOST_CYCLES]:
        desk[MOST_CYCLES], desk[MOST_TICK] = spent, tick
    desk[ERROR] = status
    return bool(status == 0)


@dataclass
class Engine:
    """An emulated processor with an image in its memory."""

    uc: Any
    image: Image
    board: Board
    kept: list[Any]  # memory that the emulator points to

    def call(self, name: str, *words: int, real: float = 0.0) -> int:
        """Call a function with words in its first registers, a double in d0 and r2, r3; its r0. Raises UcError."""
        from unicorn import arm_const as arm

        low, high = struct.unpack("<II", struct.pack("<d", real))
        values = [*words, *[0] * (2 - len(words)), low, high]
        for register, value in zip((arm.UC_ARM_REG_R0, arm.UC_ARM_REG_R1, arm.UC_ARM_REG_R2, arm.UC_ARM_REG_R3), values,
                                   strict=True):
            self.uc.reg_write(register, value)
        if self.image.processor in ("m4f", "m7f"):
            self.uc.reg_write(arm.UC_ARM_REG_D0, struct.unpack("<Q", struct.pack("<d", real))[0])
        self.uc.reg_write(arm.UC_ARM_REG_SP, RAM + STACK_BYTES)
        self.uc.reg_write(arm.UC_ARM_REG_LR, BACK | 1)
        self.uc.emu_start(self.image.symbols[name] | 1, BACK)
        return int(self.uc.reg_read(arm.UC_ARM_REG_R0))

    @property
    def at(self) -> int:
        """Address of the instruction that ran last or failed."""
        from unicorn import arm_const as arm

        return int(self.uc.reg_read(arm.UC_ARM_REG_PC)) & ~1

    @property
    def came_from(self) -> int:
        """Where the function that ran last was called."""
        from unicorn import arm_const as arm

        return (int(self.uc.reg_read(arm.UC_ARM_REG_LR)) & ~1) - 2

    def stack_bytes(self) -> int:
        """How deep the stack has been: what is no longer painted."""
        painted = np.frombuffer(bytes(self.uc.mem_read(RAM, STACK_BYTES)), np.uint8)
        changed = np.flatnonzero(painted != PAINT)
        return STACK_BYTES - int(changed[0]) if len(changed) else 0

    def state_bytes(self, most: int) -> int:
        """The firmware's own memory up to the last byte that is not zero."""
        used = np.flatnonzero(np.frombuffer(bytes(self.uc.mem_read(STATE, most)), np.uint8))
        return int(used[-1]) + 1 if len(used) else 0


def start_engine(image: Image, state_bytes: int, counts: Path, noticed: Callable[[int, int], bool]) -> Engine:
    """An emulator with an image; `noticed(kind, address)` is told of an access that memory refuses and answers False.

    What it counts stands in the file `counts`, where it is found when this process is ended.

    Raises InputError without the emulator.
    """
    try:
        import unicorn
        from unicorn import arm_const as arm
        from unicorn.unicorn_py3.unicorn import uclib
    except ImportError:
        raise InputError("--board: needs `pip install 'cuffloop[firmware]'` (unicorn)") from None
    uc = unicorn.Uc(unicorn.UC_ARCH_ARM, unicorn.UC_MODE_THUMB | unicorn.UC_MODE_MCLASS)
    uc.ctl_set_cpu_model(getattr(arm, f"UC_CPU_ARM_{MODELS[image.processor]}"))
    run, read, write = unicorn.UC_PROT_EXEC | unicorn.UC_PROT_READ, unicorn.UC_PROT_READ, unicorn.UC_PROT_WRITE
    uc.mem_map(FLASH, FLASH_BYTES, run)
    uc.mem_map(BACK, PAGE, run)
    uc.mem_map(RAM, RAM_BYTES, read | write)
    uc.mem_map(STATE, -(-state_bytes // PAGE) * PAGE, read | write)
    room = np.zeros(2 * PAGE, np.uint8)
    skip = -room.ctypes.data % PAGE
    uc.mem_map_ptr(RECORDS, PAGE, read | write, ctypes.c_void_p(room.ctypes.data + skip))
    uc.mem_write(RAM, bytes([PAINT]) * STACK_BYTES)
    uc.mem_write(BACK, b"\xfe\xe7" * (PAGE // 4) + b"\x01\xde" * (PAGE // 4))
    for address, content in image.segments:
        uc.mem_write(address, content)
    uc.hook_add(unicorn.UC_HOOK_MEM_INVALID, lambda uc, kind, address, size, value, data: noticed(kind, address))
    desk = _desk(image, counts)
    _watch_divisions(uc, image, noticed)
    _count_blocks(uclib, uc, desk)
    guest = room[skip:skip + 128].view(np.int64)
    named = np.array([arm.UC_ARM_REG_R0, arm.UC_ARM_REG_R1, arm.UC_ARM_REG_R2, arm.UC_ARM_REG_SP, arm.UC_ARM_REG_LR],
                     np.int32)
    values = np.array([STATE, RECORDS, RECORDS + 64, RAM + STACK_BYTES, BACK | 1], np.int64)
    places = values.ctypes.data + 8 * np.arange(REGISTERS, dtype=np.int64)
    entry: Any = ctypes.cast(uclib.uc_emu_start, ctypes.c_void_p).value
    setting: Any = ctypes.cast(uclib.uc_reg_write_batch, ctypes.c_void_p).value
    board = Board(uc._uch.value, entry, setting, image.symbols["servo_tick"] | 1, BACK, named.ctypes.data,
                  places.ctypes.data, desk, guest)
    return Engine(uc, image, board, [room, named, values, places])


def _desk(image: Image, path: Path) -> NDArray[np.int64]:
    """Counters, and the running sums of the image's code, in one piece of memory."""
    first, content = min(image.segments)
    counts, cycles = running_sums(content, first, [(a, b) for a, b in image.code if b <= first + len(content)],
                                  image.processor)
    desk: NDArray[np.int64] = np.frombuffer(
        np.memmap(path, np.uint8, "w+", shape=(8 * (DESK_WORDS + 2 * len(counts)),)), np.int64)
    desk[FIRST], desk[HALFWORDS] = first, len(counts) - 1
    desk[DESK_WORDS:] = np.concatenate([counts, cycles])
    return desk


def _watch_divisions(uc: Any, image: Image, noticed: Callable[[int, int], bool]) -> None:
    """Trap at a division in hardware whose divisor is zero: the processor itself answers zero and goes on."""
    import unicorn
    from unicorn import arm_const as arm

    first, content = min(image.segments)
    named = divisions(content, first, [(a, b) for a, b in image.code if b <= first + len(content)])
    aliases = {"sb": "r9", "sl": "r10", "fp": "r11", "ip": "r12", "lr": "lr", "sp": "sp"}

    def looked(uc: Any, address: int, size: int, data: Any) -> None:
        register = getattr(arm, f"UC_ARM_REG_{aliases.get(named[address], named[address]).upper()}")
        if uc.reg_read(register) == 0:
            noticed(DIVISION, address)
            uc.reg_write(arm.UC_ARM_REG_PC, TRAP | 1)

    for address in named:
        uc.hook_add(unicorn.UC_HOOK_CODE, looked, begin=address, end=address)


def _count_blocks(uclib: Any, uc: Any, desk: NDArray[np.int64]) -> None:
    import unicorn

    handle = ctypes.c_size_t()
    word = ctypes.c_uint64
    status = uclib.uc_hook_add(
        uc._uch, ctypes.byref(handle), ctypes.c_int(unicorn.UC_HOOK_BLOCK), ctypes.c_void_p(count_block.address),
        ctypes.c_void_p(desk.ctypes.data), word(1), word(0))
    if status != 0:
        raise InputError(f"--board: the emulator refuses to count (status {status})")
