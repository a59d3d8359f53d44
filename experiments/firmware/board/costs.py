"""Instructions and modelled cycles of straight pieces of machine code.

The costs are the documented cycles without wait states, at the upper end where a range is given, every branch as
taken: ARM 100166_0001 table 3-1 (Cortex-M4), ARM DDI 0337I table 3-1 (Cortex-M3); those of the Cortex-M0 (ARM DDI
0432) and of the floating-point instructions are from memory. No timings are published for the Cortex-M7: it is counted
as a Cortex-M4, which issues one instruction at a time. It is a model: flash, caches and interrupts are left out.
"""
from __future__ import annotations

import re
from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from plant.errors import InputError


class Costs(NamedTuple):
    """Cycles of kinds of instructions."""

    branch: int
    link: int  # branch with link
    jump: int  # to an address in a register
    refill: int  # added where a load goes to the program counter
    load: int
    store: int
    accumulate: int
    long_multiply: int
    long_accumulate: int
    divide: int
    special: int  # mrs, msr


PLAIN = Costs(branch=4, link=4, jump=4, refill=3, load=2, store=2, accumulate=2, long_multiply=5, long_accumulate=7,
              divide=12, special=2)
COSTS = {
    "m0": Costs(3, 4, 3, 3, 2, 2, 1, 1, 1, 1, 4), "m3": PLAIN,
    "m4f": PLAIN._replace(accumulate=1, long_multiply=1, long_accumulate=1),
    "m7f": PLAIN._replace(accumulate=1, long_multiply=1, long_accumulate=1),
}
REAL = {"vdiv": 14, "vsqrt": 14, "vmla": 3, "vmls": 3, "vnmla": 3, "vnmls": 3, "vfma": 3, "vfms": 3, "vfnma": 3,
        "vfnms": 3, "vldr": 2, "vstr": 2}
CONDITIONS = "eq|ne|cs|hs|cc|lo|mi|pl|vs|vc|hi|ls|ge|lt|gt|le|al"


def listed(operands: str) -> int:
    """How many registers a list in braces names."""
    inner = re.search(r"\{(.*)\}", operands)
    count = 0
    for part in inner.group(1).split(",") if inner else []:
        ends = re.findall(r"\d+", part)
        count += int(ends[1]) - int(ends[0]) + 1 if "-" in part and len(ends) == 2 else 1
    return count


def cycles_of(costs: Costs, mnemonic: str, operands: str) -> int:
    """Modelled cycles of one instruction."""
    name = mnemonic.split(".")[0]
    if name.startswith("v"):
        return _real_cycles(re.sub(f"(?<=..)({CONDITIONS})$", "", name), operands)
    to_counter = operands.startswith("pc") or (name.startswith(("pop", "ldm")) and "pc" in operands)
    more = costs.refill if to_counter else 0
    if name.startswith(("push", "stm", "pop", "ldm")):
        return 1 + listed(operands) + more
    if name.startswith(("ldrd", "strd")):
        return 3
    if name.startswith(("ldr", "str")):
        return (costs.load if name.startswith("l") else costs.store) + more
    if re.fullmatch(f"bl({CONDITIONS})?", name):
        return costs.link
    if re.fullmatch(f"(bx|blx)({CONDITIONS})?", name):
        return costs.jump
    if re.fullmatch(f"b({CONDITIONS})?", name) or name.startswith(("cbz", "cbnz")):
        return costs.branch
    for begin, cycles in (("tb", 2 + costs.refill), ("umull", costs.long_multiply), ("smull", costs.long_multiply),
                          ("umlal", costs.long_accumulate), ("smlal", costs.long_accumulate), ("mla", costs.accumulate),
                          ("mls", costs.accumulate), ("udiv", costs.divide), ("sdiv", costs.divide),
                          ("mrs", costs.special), ("msr", costs.special), ("dsb", 4), ("dmb", 4), ("isb", 4)):
        if name.startswith(begin):
            return cycles
    return 1 + more


def _real_cycles(name: str, operands: str) -> int:
    if name.startswith(("vldm", "vstm", "vpush", "vpop")):
        return 1 + listed(operands) * (2 if "{d" in operands else 1)
    if name == "vmov" and operands.count(",") >= 2:
        return 2
    wide = name in ("vldr", "vstr") and operands.startswith("d")
    return REAL.get(name, 1) + wide


def running_sums(
    code: bytes, base: int, ranges: Iterable[tuple[int, int]], processor: str
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Instructions and cycles before each halfword of some code, shape (halfwords + 1,).

    `ranges` are first and last address of what is code and not data. Raises InputError without the disassembler.
    """
    try:
        import capstone
    except ImportError:
        raise InputError("--board: needs `pip install 'cuffloop[firmware]'` (capstone)") from None
    mode = capstone.CS_MODE_THUMB | capstone.CS_MODE_MCLASS
    reader = capstone.Cs(capstone.CS_ARCH_ARM, mode)
    reader.skipdata = True
    size = len(code) // 2 + 1
    counts, cycles, costs = np.zeros(size, np.int64), np.zeros(size, np.int64), COSTS[processor]
    for first, last in ranges:
        for _, length, mnemonic, operands in reader.disasm_lite(code[first - base:last - base], first):
            counts[(first - base) // 2] = 1
            cycles[(first - base) // 2] = cycles_of(costs, mnemonic, operands)
            first += length
    return _before(counts), _before(cycles)


def divisions(code: bytes, base: int, ranges: Iterable[tuple[int, int]]) -> dict[int, str]:
    """Addresses of divisions in hardware, each with the register of its divisor, as in `r2`."""
    import capstone

    reader = capstone.Cs(capstone.CS_ARCH_ARM, capstone.CS_MODE_THUMB | capstone.CS_MODE_MCLASS)
    reader.skipdata = True
    found = {}
    for first, last in ranges:
        for _, length, mnemonic, operands in reader.disasm_lite(code[first - base:last - base], first):
            if mnemonic.startswith(("sdiv", "udiv")):
                found[first] = operands.rpartition(",")[2].strip()
            first += length
    return found


def _before(values: NDArray[np.int64]) -> NDArray[np.int64]:
    sums: NDArray[np.int64] = np.concatenate([[0], np.cumsum(values[:-1])])
    return sums
