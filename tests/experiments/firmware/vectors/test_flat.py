"""Nested tuples as rows, in compiled code."""
import numpy as np
import pytest
from numba import njit

from controller.fixed.law import FixedState
from controller.tick.firmware import Order
from controller.tick.law import initial_control
from experiments.firmware.vectors.flat import columns, flat_into, from_row


@njit  # type: ignore[untyped-decorator]
def there_and_back(model, control, row):  # type: ignore[no-untyped-def]
    """A row as a record and a record, with its neighbours, as a row."""
    order = from_row(model, row)
    flat_into((order, control, True), row)


def test_there_and_back() -> None:
    """Whole numbers are rounded down, conditions become 0 and 1."""
    row = np.full(10, 7.75)
    there_and_back(Order(0, 0.0, 0.0, 0.0), initial_control()._replace(integral=3.0), row)
    assert row.tolist() == [7.0, 7.75, 7.75, 7.75, 0.0, 0.0, 0.0, 3.0, 0.0, 1.0]


def test_not_outside_compiled_code() -> None:
    """Plain Python has better ways."""
    with pytest.raises(TypeError):
        flat_into((1.0,), np.zeros(1))
    with pytest.raises(TypeError):
        from_row(Order(0, 0.0, 0.0, 0.0), np.zeros(4))


@njit  # type: ignore[untyped-decorator]
def flattened(state, row):  # type: ignore[no-untyped-def]
    """A record as a row."""
    flat_into(state, row)


def test_a_wide_number_goes_as_two_halves_under_two_names() -> None:
    """Both without a sign, so that nothing is lost."""
    state, row = FixedState(-1, 2**33 + 5, -(2**40), 0, 7), np.empty(10)
    flattened(state, row)
    low, high = row[1::2], row[0::2]
    back = [int(h) * 2**32 + int(w) for h, w in zip(high, low, strict=True)]
    assert [value - 2**64 if value >= 2**63 else value for value in back] == list(state)
    assert list(columns(state, "s"))[:2] == ["s.lead.high", "s.lead.low"] and len(list(columns(state))) == 10
    assert list(columns((1.0, Order(0, 0.0, 0.0, 0.0)), "x"))[:2] == ["x.0", "x.1.mode"]
