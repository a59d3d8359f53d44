"""A value is of its annotated type, or it is not."""
from functools import partial
from typing import Any, NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray

from experiments.work.fitting import is_of, result_type

Reals = NDArray[np.float64]


class Point(NamedTuple):
    x: float
    names: list[str]


def made(first: int, second: int) -> tuple[Reals, str]:
    return np.zeros(2), ""


def says_nothing(first):
    return first


def test_result_types():
    assert result_type(partial(partial(made, 1), 2)) == tuple[Reals, str]
    assert result_type(says_nothing) is Any and result_type(partial(max, 1)) is Any


@pytest.mark.parametrize(("value", "annotation"), [
    (1, Any), (1, int), (np.int64(1), int), (1, float), (1.0, float), (np.float32(1), float), (True, bool),
    (np.bool_(True), bool), ("a", str), (None, None), (None, str | None), ([1, 2], list[int]),
    ((1, "a"), tuple[int, str]),
    ((1, 2, 3), tuple[int, ...]), ({"a": 1}, dict[str, int]), (np.zeros(2), Reals), (Point(1.0, ["a"]), Point),
    ([(np.zeros((0, 3)), "")], list[tuple[Reals, str]]), (np.zeros(2, np.float32), NDArray[np.float32]),
])
def test_of_the_type(value, annotation):
    assert is_of(value, annotation)


@pytest.mark.parametrize(("value", "annotation"), [
    (1.0, int), (True, int), (True, float), ("1", float), (1, bool), (1, str), (1, None), (1, str | None),
    ((1, 2), list[int]), ([1, "a"], list[int]), ((1,), tuple[int, str]), ([1, "a"], tuple[int, str]),
    ((1, "a"), tuple[int, ...]), ({1: 1}, dict[str, int]), ([], dict[str, int]), (np.zeros(2, int), Reals),
    ([0.0], Reals), (("x", ["a"]), Point), (Point("x", ["a"]), Point), (Point(1.0, [1]), Point),
])
def test_not_of_it(value, annotation):
    assert not is_of(value, annotation)
