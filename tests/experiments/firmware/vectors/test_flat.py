"""Nested tuples as rows, in compiled code."""
import numpy as np
import pytest
from numba import njit

from controller.tick.firmware import Order
from controller.tick.law import initial_control
from experiments.firmware.vectors.flat import flat_into, from_row


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
