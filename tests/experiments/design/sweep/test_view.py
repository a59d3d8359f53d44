"""Which slice a picture shows, and the fields that its outlines are drawn from."""
import numpy as np
import pytest

from experiments.design.sweep.axes import Axis
from experiments.design.sweep.verdict import keeps, limits_of
from experiments.design.sweep.view import (
    heading,
    nearest,
    present_at,
    quantities,
    rooms,
    short,
    slice_of,
    ticks_of,
    view_of,
)
from experiments.rigs.requirements import default_requirements, load_requirements

LIMITS = load_requirements(default_requirements("wrist"))


def axes(*lengths, words=()):
    return tuple(Axis(f"t.k{i}", "s", "", tuple("abcdefghijkl"[:n]) if i in words else tuple(map(float, range(n))),
                      present=None if i in words else 2.0) for i, n in enumerate(lengths))


@pytest.mark.parametrize(("shape", "words", "expected"), [
    ((20,), (), (0, None, None, None)),
    ((20, 30), (), (1, 0, None, None)),
    ((30, 3), (), (0, None, 1, None)),
    ((3, 30), (), (1, None, 0, None)),
    ((30, 7), (1,), (0, None, None, 1)),
    ((30, 3, 3), (), (0, None, 1, 2)),
    ((10, 20, 3), (), (1, 0, None, 2)),
    ((10, 20, 8, 4), (2,), (1, 0, None, 3)),
])
def test_which_axis_goes_where(gains, shape, words, expected):
    view = view_of(gains._replace(plan=gains.plan._replace(axes=axes(*shape, words=words))))
    assert (view.x, view.y, view.lines, view.columns) == expected
    used = {v for v in expected if v is not None}
    assert set(view.fixed) == set(range(len(shape))) - used


def test_at_most_five_columns(gains):
    view = view_of(gains._replace(plan=gains.plan._replace(axes=axes(20, 20, 12))))
    assert view.column_values == (0, 3, 6, 8, 11)


def test_a_slice_is_the_points_it_says(gains):
    three = gains._replace(plan=gains.plan._replace(axes=axes(6, 7, 3, 2), points=()))
    values = np.arange(6 * 7 * 3 * 2).reshape(6, 7, 3, 2)
    view = view_of(three)
    cut = slice_of(three, values.ravel(), view, 2)  # x is the axis of seven, y that of six
    assert cut.shape == (7, 6) and view.fixed == {3: 1}
    np.testing.assert_array_equal(cut, values[:, :, 2, 1].T)


def test_nearest_and_present():
    axis = Axis("a", "", "", (1.0, 10.0, 100.0), log=True, present=5.0)
    assert nearest(axis) == 1 and nearest(axis._replace(log=False)) == 0 and nearest(axis._replace(present=None)) == 1
    words = Axis("a", "", "", ("x", "y"), present="y")
    assert nearest(words) == 1 and present_at(words) == 1.0 and ticks_of(words)[1] == ["x", "y"]
    assert nearest(words._replace(present="z")) == 0 and np.isnan(present_at(words._replace(present="z")))
    assert present_at(axis) == 5.0 and short(0.123456) == "0.123" and short(True) == "true"


def test_rooms_are_above_zero_just_where_all_limits_are_kept(gains, people):
    for found in (gains, people):
        limits = limits_of(found, LIMITS)
        np.testing.assert_array_equal(np.min(rooms(found, limits), axis=0) >= 0.0, keeps(found, limits))
        assert not np.any(np.isnan(rooms(found, limits)))


def test_headings_and_quantities(gains, people):
    assert heading(gains, None) == "wrist on synthetic pressure"
    assert heading(people, None) == "wrist: worst of 3 fingers at each point"
    fixed = view_of(gains)._replace(fixed={0: 1})
    assert heading(gains, fixed).startswith("wrist on synthetic pressure: controller.kp = 0.0")
    assert quantities(gains)[4].label == "tracking error, rms, predicted (mmHg)"
    assert quantities(people)[4].name == "rms_error_mmHg"
