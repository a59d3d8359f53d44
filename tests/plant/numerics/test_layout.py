"""Nested tuples as columns of an array, there and back, and into vectors."""
from typing import NamedTuple

import numpy as np
import pytest
from numba import njit

from plant.assembly import Plant
from plant.errors import InputError
from plant.numerics.layout import (
    aligned,
    all_own,
    laid_out,
    leaves,
    load_all,
    load_floats,
    own,
    padded,
    restored,
    row_of,
    set_row,
    shared,
    store_all,
)
from plant.numerics.vector import WIDTH, choose
from plant.pneumatics.flow_valve import FlowValve
from plant.pneumatics.pressure_valve import PressureValve


class Inner(NamedTuple):
    whole: int
    share: float


class Outer(NamedTuple):
    first: float
    inner: Inner
    more: tuple[float, ...]


def finger(i):
    return Outer(1.0 * i, Inner(3, 0.5 * i), (7.0 + i, -1.0 * i))


FINGERS = [finger(i) for i in range(WIDTH + 3)]


def test_columns_are_fingers_and_the_last_is_repeated():
    rows = laid_out(FINGERS, 2)
    assert rows.shape == (4, 2, WIDTH) and rows.ctypes.data % (8 * WIDTH) == 0
    flat = rows.reshape(4, -1)
    assert flat[:, 2].tolist() == [2.0, 1.0, 9.0, -2.0]
    assert np.array_equal(flat[:, len(FINGERS):], np.repeat(flat[:, len(FINGERS) - 1 : len(FINGERS)], WIDTH - 3, 1))


def test_there_and_back():
    rows = laid_out(FINGERS, 2, everything=True).reshape(5, -1)
    assert [restored(FINGERS[0], rows[:, i].tolist()) for i in range(len(FINGERS))] == FINGERS
    assert isinstance(restored(FINGERS[0], rows[:, 1].tolist()).inner.whole, int)


def test_leaves_have_dotted_names():
    assert dict(leaves(finger(2))) == {
        "first": 2.0, "inner.whole": 3, "inner.share": 1.0, "more.0": 9.0, "more.1": -2.0}


def test_what_must_be_shared_is_named():
    other = finger(1)._replace(inner=Inner(4, 0.5))
    with pytest.raises(InputError, match=r"inner\.whole: 3 and 4"):
        laid_out([finger(0), other], 1)
    with pytest.raises(InputError, match="same kinds of parts"):
        laid_out([Plant(valve=FlowValve()), Plant(valve=PressureValve())], 1)


@njit(error_model="numpy")
def copied(model, rows, some, everything, group):
    """Load both ways and store again."""
    store_all(load_floats(model, rows, group), some, group)
    store_all(load_all(model, everything, group), everything, group)


def test_loads_and_stores_know_their_places():
    rows, everything = laid_out(FINGERS, 2), laid_out(FINGERS, 2, everything=True)
    before, after = everything.copy(), aligned(5, 2)
    for group in range(2):
        copied(FINGERS[0], rows, after, everything, group)
    assert np.array_equal(everything, before) and np.array_equal(after, before)


def test_padding_keeps_the_last_axis_first():
    assert padded(np.arange(3), 1).tolist() == [0, 1, 2] + [2] * (WIDTH - 3)


@pytest.mark.parametrize("function", [load_floats, load_all, store_all])
def test_loads_are_for_compiled_code(function):
    with pytest.raises(TypeError, match="compiled"):
        function(FINGERS[0], np.zeros((5, 1, WIDTH)), 0)


@all_own
class Switches(NamedTuple):
    on: bool
    count: int


class Mixed(NamedTuple):
    bits: int
    level: float
    switches: Switches


def test_every_number_of_a_marked_class_is_each_fingers_own():
    """Bits are shared; level, switch and count may differ, and come back in the lanes as what they are."""
    mixed = [Mixed(12, 0.5 * i, Switches(i % 3 == 0, i)) for i in range(WIDTH)]
    assert [path for path, _ in own(mixed[0])] == ["level", "switches.on", "switches.count"]
    assert shared(mixed[0]) == shared(mixed[5]) != shared(mixed[5]._replace(bits=10))
    with pytest.raises(InputError, match="bits: 12 and 10"):
        laid_out([mixed[0], mixed[1]._replace(bits=10)], 1)
    rows, out = laid_out(mixed, 1), aligned(3, 1)

    @njit
    def through(model, rows, out):
        one = load_floats(model, rows, 0)
        level = choose(one.switches.on, one.level + one.bits, -1.0 * one.switches.count)
        store_all((level, one.switches), out, 0)

    through(mixed[0], rows, out)
    assert out[0, 0].tolist() == [m.level + 12 if m.switches.on else -m.switches.count for m in mixed]
    assert out[1, 0].tolist() == [float(m.switches.on) for m in mixed]
    assert restored(mixed[3].switches, out[1:, 0, 3].tolist()) == mixed[3].switches


def test_a_row_is_a_number_or_a_vector():
    @njit
    def doubled(rows, row):
        set_row(rows, row, 0, 2.0 * row_of(rows, row, 0))

    flat, lanes = np.array([1.0, 2.0, 3.0]), aligned(3, 1)
    lanes[:] = np.arange(3.0)[:, None, None]
    doubled(flat, 1)
    doubled(lanes, 2)
    assert flat.tolist() == [1.0, 4.0, 3.0] and lanes[:, 0, 5].tolist() == [0.0, 1.0, 4.0]
