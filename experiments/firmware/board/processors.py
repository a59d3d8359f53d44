"""The processors firmware can be emulated on: how a compiler is told of them, and the clock they are given."""
from __future__ import annotations

import re
from dataclasses import dataclass

from plant.errors import InputError

CLOCKS = {"": 1.0, "k": 1e3, "M": 1e6, "G": 1e9}


@dataclass(frozen=True)
class Processor:
    """A core of the Cortex-M family."""

    name: str
    core: str  # as its makers call it
    zig: tuple[str, str]  # target and processor, in the words of the wheel's compiler
    gcc: tuple[str, ...]
    has_real: bool  # single-precision numbers in hardware
    clock_Hz: float  # usual; to be set


PROCESSORS = {
    "m0": Processor("m0", "Cortex-M0", ("thumb-freestanding-eabi", "cortex_m0"),
                    ("-mcpu=cortex-m0", "-mfloat-abi=soft"), False, 48e6),
    "m3": Processor("m3", "Cortex-M3", ("thumb-freestanding-eabi", "cortex_m3"),
                    ("-mcpu=cortex-m3", "-mfloat-abi=soft"), False, 72e6),
    "m4f": Processor("m4f", "Cortex-M4 with floating point", ("thumb-freestanding-eabihf", "cortex_m4+vfp4d16sp"),
                     ("-mcpu=cortex-m4", "-mfloat-abi=hard", "-mfpu=fpv4-sp-d16"), True, 168e6),
    "m7f": Processor("m7f", "Cortex-M7 with floating point", ("thumb-freestanding-eabihf", "cortex_m7+fp_armv8d16sp"),
                     ("-mcpu=cortex-m7", "-mfloat-abi=hard", "-mfpu=fpv5-sp-d16"), True, 216e6),
}


def processor_of(name: str) -> Processor:
    """A processor by its name. Raises InputError."""
    found = PROCESSORS.get(name.lower())
    if found is None:
        raise InputError(f"--board {name}: one of {', '.join(PROCESSORS)}")
    return found


def clock_of(text: str | None, processor: Processor) -> float:
    """A clock such as 168MHz or 48e6 [Hz]; the processor's usual one for None. Raises InputError."""
    if text is None:
        return processor.clock_Hz
    found = re.fullmatch(r"([0-9.]+(?:e[0-9]+)?) *([kMG]?)(?:Hz)?", text.strip())
    try:
        value = float(found.group(1)) * CLOCKS[found.group(2)] if found else 0.0
    except ValueError:
        value = 0.0
    if not 1e4 <= value <= 1e10:
        raise InputError(f"--clock {text}: a frequency between 10kHz and 10GHz, such as 168MHz")
    return value
