"""What an emulated run comes to: work and memory, and whether a tick fits."""
from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from experiments.firmware.board import records as words
from experiments.firmware.board.image import RAM, STACK_BYTES, Image
from experiments.firmware.board.processors import PROCESSORS

ACCESS = {19: "a read from", 20: "a write to", 21: "a jump to", 22: "a write to", 23: "a read from", 24: "a jump to"}
ERRORS = {10: "an instruction that the processor does not have", 21: "an exception"}  # numbers of the emulator
TRAPS = {"__stack_chk_fail": "the stack was smashed", "__aeabi_idiv0": "a division by zero",
         "__aeabi_ldiv0": "a division by zero"}
GUARD_BYTES = 0x1_0000  # below the stack


@dataclass(frozen=True)
class BoardFigures:
    """Work a tick, and memory; `differing` is against the same C on this machine, None where that was not run."""

    image: Image
    clock_Hz: float
    period_s: float
    ticks: int
    instructions: float  # mean a tick
    most_instructions: int
    cycles: float  # modelled, mean a tick
    most_cycles: int
    most_tick: int
    stack_bytes: int
    state_bytes: int
    differing: int | None = None
    compared: int = 0

    @property
    def ram_bytes(self) -> int:
        """Data, the firmware's own memory and the deepest stack."""
        return self.image.data_bytes + self.state_bytes + self.stack_bytes

    @property
    def share(self) -> float:
        """The longest tick, as a share of the period."""
        return self.most_cycles / (self.clock_Hz * self.period_s)

    @property
    def fits(self) -> bool:
        """Whether every tick ended before the next."""
        return self.share <= 1.0

    def lines(self) -> list[str]:
        """What is printed."""
        image = self.image
        lines = [
            f"{PROCESSORS[image.processor].core} at {self.clock_Hz / 1e6:g} MHz, built by {image.compiler or 'others'}",
            f"  instructions a tick   {self.instructions:,.2f} mean, {self.most_instructions:,} most",
            f"  modelled cycles       {self.cycles:,.2f} mean, {self.most_cycles:,} most (tick {self.most_tick}): "
            f"{1e6 * self.most_cycles / self.clock_Hz:,.1f} µs, {100.0 * self.share:.2f} % of the tick",
            f"  flash                 {image.flash_bytes:,} bytes",
            f"  RAM                   {self.ram_bytes:,} bytes: data {image.data_bytes:,}, state {self.state_bytes:,}, "
            f"stack {self.stack_bytes:,}",
        ]
        if self.differing is not None:
            lines.append(f"  against this machine  {self.differing:,} of {self.compared:,} values differ")
        return lines

    def document(self) -> dict[str, Any]:
        """The same as plain data."""
        plain = {name: value for name, value in self.__dict__.items() if name != "image"}
        return {"processor": self.image.processor, "compiler": self.image.compiler, **plain, "share": self.share,
                "flash_bytes": self.image.flash_bytes, "data_bytes": self.image.data_bytes, "ram_bytes": self.ram_bytes}


def figures_of(image: Image, clock_Hz: float, period_s: float, desk: NDArray[np.int64]) -> BoardFigures:
    """The figures of a run from the words that its process left."""
    first = desk.tolist()
    ticks = max(first[words.TICKS], 1)
    return BoardFigures(
        image, clock_Hz, period_s, first[words.TICKS], first[words.INSTRUCTIONS] / ticks,
        first[words.MOST_INSTRUCTIONS], first[words.CYCLES] / ticks, first[words.MOST_CYCLES], first[words.MOST_TICK],
        first[words.STACK], first[words.STATE_USED])


def findings_of(figures: BoardFigures, tick: int, desk: NDArray[np.int64]) -> Iterator[tuple[str, int, str]]:
    """Kind, tick and text of what the board adds: a failure with function and line, a tick that does not fit."""
    image, first = figures.image, desk.tolist()
    where = f"tick {tick}" if tick >= 0 else "servo_start"
    if first[words.ERROR]:
        address, kind = first[words.FAULT_ADDRESS], ACCESS.get(first[words.FAULT_KIND], "")
        what = f"{kind} 0x{address:08x}" if kind else ERRORS.get(first[words.ERROR], f"error {first[words.ERROR]}")
        at, trap = first[words.FAULT_AT], TRAPS.get(image.where(first[words.FAULT_AT]).partition(" ")[0], "")
        if trap:
            what, at = trap, first[words.CALLED_AT]
        elif first[words.FAULT_KIND] == words.DIVISION:
            what, at = TRAPS["__aeabi_idiv0"], address
        if kind and RAM - GUARD_BYTES <= address < RAM:
            what += f", below the stack of {STACK_BYTES:,} bytes"
        yield "fault", tick, f"{what} in {image.where(at)} at {where}"
    if not figures.fits:
        yield ("time", figures.most_tick, f"a tick takes {figures.most_cycles:,} modelled cycles, "
               f"{100.0 * figures.share:.0f} % of its {1e3 * figures.period_s:g} ms at {figures.clock_Hz / 1e6:g} MHz, "
               f"at tick {figures.most_tick}")
