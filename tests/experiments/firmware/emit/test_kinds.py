"""Kinds of values and the literals of both arithmetics."""
import math
from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.fixed.words import Wide
from experiments.firmware.emit.kinds import (
    DOUBLE,
    FLAG,
    LONG,
    REAL,
    SINGLE,
    WHOLE,
    Refusal,
    Struct,
    built,
    kind_of,
    safe,
    wide_fields,
)


class Pair(NamedTuple):
    """A number and a switch."""

    size: float
    on: bool


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_literals_keep_their_bits(value: float) -> None:
    """The decimal is that very number again, in double and in single precision."""
    assert float(DOUBLE.literal(value).strip("()")) == value
    with np.errstate(over="ignore"):
        held = np.float32(value)
    if np.isfinite(held):
        assert np.float32(SINGLE.literal(value).strip("()").rstrip("f")) == held


def test_what_is_no_number_has_a_name() -> None:
    """NaN and infinities are macros, cast to the type."""
    assert DOUBLE.literal(math.nan) == "(double)NAN"
    assert SINGLE.literal(-math.inf) == "(-(float)INFINITY)"


def test_kinds_come_from_values_and_classes() -> None:
    """An example and its class are of one kind; a whole number in a float's field is real."""
    assert kind_of(Pair(1.0, True)) == kind_of(Pair) == Struct("Pair", (("size", REAL), ("on", FLAG)), Pair)
    assert kind_of(Pair(1, False)) == kind_of(Pair)
    assert kind_of(3) == WHOLE
    assert built(Pair, [WHOLE, FLAG]) == kind_of(Pair)


class Sum(NamedTuple):
    """A wide number beside a usual one."""

    total: Wide
    shift: int


def test_what_is_declared_wide_has_64_bits() -> None:
    """By its declaration, not by its size."""
    assert wide_fields(Sum) == {"total"} and wide_fields(Pair) == frozenset()
    assert kind_of(Sum(1, 1)) == kind_of(Sum) == Struct("Sum", (("total", LONG), ("shift", WHOLE)), Sum)
    assert built(Sum, [WHOLE, WHOLE]) == kind_of(Sum)


def test_other_values_are_refused() -> None:
    """A list has no kind."""
    with pytest.raises(Refusal, match="list"):
        kind_of([1.0])


def test_keywords_of_c_are_no_names() -> None:
    """They get an underscore; other names stay."""
    assert (safe("switch"), safe("light")) == ("switch_", "light")
