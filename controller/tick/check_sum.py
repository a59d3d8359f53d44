"""Check sum of a control law: CRC-32 over the bits of everything that the tick reads of it.

CRC-32 of IEEE 802.3 (ISO 3309): reflected polynomial 0xEDB88320, ones before and after. It sees any change of up to 32
bits in a row, and of any one number, and a swap; the sum is `zlib.crc32` of the numbers in little-endian order.
"""
from __future__ import annotations

from typing import Any

import numpy as np

from controller.tick.law import Coefficients
from plant.declare import inlined, verb
from plant.numerics.vector import held_bits, held_size

POLYNOMIAL, ONES = 0xEDB88320, 0xFFFFFFFF  # of CRC-32: reflected polynomial; what the sum begins and ends with
Word = Any  # 64 bits without a sign

settings_sum = verb("settings_sum")  # (law) -> its check sum, 32 bits in a word


@inlined
def crc_step(before: Word, word: Word, bits: int) -> Word:
    """The sum after so many bits of a word, lowest first."""
    total, rest = before, word
    for _bit in range(bits):
        odd = ((total ^ rest) & np.uint64(1)) != np.uint64(0)
        half = total >> np.uint64(1)
        total = (half ^ np.uint64(POLYNOMIAL)) if odd else half
        rest = rest >> np.uint64(1)
    return total


@settings_sum.of(Coefficients)
def law_sum(coefficients: Coefficients) -> Word:
    """Sum of a law's coefficients, each by the bits that hold it: 64 of them, 32 in single precision."""
    total = np.uint64(ONES)
    for value in coefficients:
        total = crc_step(total, held_bits(value), held_size(value))
    return total ^ np.uint64(ONES)
