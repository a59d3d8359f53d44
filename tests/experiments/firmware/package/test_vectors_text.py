"""Bit sums and the vectors' texts."""
import math

import numpy as np
import pytest

from experiments.firmware.emit.kinds import DOUBLE, SINGLE
from experiments.firmware.package.vectors_text import BLOCK, ONE_NAN, bit_sums, exact, fnv, words_of


def test_the_sum_is_fnv_1a() -> None:
    """Octet by octet it is the published function: FNV-1a of `a` and of `foobar` (Fowler, Noll & Vo, test vectors)."""
    assert int(fnv(np.frombuffer(b"a", np.uint8).astype(np.uint64))) % 2**64 == 0xAF63DC4C8601EC8C
    assert int(fnv(np.frombuffer(b"foobar", np.uint8).astype(np.uint64))) % 2**64 == 0x85944171F73967E8


def test_one_bit_changes_one_block() -> None:
    """A sum a block, each of its own."""
    rows = np.ones((2 * BLOCK + 1, 3))
    other = rows.copy()
    other[BLOCK, 1] = np.nextafter(1.0, 2.0)
    assert [a == b for a, b in zip(bit_sums(rows), bit_sums(other), strict=True)] == [True, False, True]


@pytest.mark.parametrize("kind", [np.float64, np.float32])
def test_every_nan_is_one(kind: type) -> None:
    """Whatever its payload and sign."""
    assert words_of(np.array([[math.nan, -math.nan]], kind)).tolist() == [[ONE_NAN, ONE_NAN]]


def test_numbers_are_exact_in_either_arithmetic() -> None:
    """0.1 has other bits in single precision."""
    assert float.fromhex(exact(0.1, DOUBLE)) == 0.1
    assert exact(0.1, SINGLE) == f"{float(np.float32(0.1)).hex()}f"
