"""Vectors of numbers in compiled code: lane for lane the bits of single numbers."""
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numba import njit

from plant.numerics import elementary, vector
from plant.numerics.layout import aligned
from plant.numerics.noise import gaussian, uniform
from plant.numerics.vector import WIDTH, anywhere, choose, load, most, rounded_down, store

FUNCTIONS = {
    "add": (lambda a, b: a + b, 2), "sub": (lambda a, b: a - b, 2), "mul": (lambda a, b: a * b, 2),
    "div": (lambda a, b: a / b, 2),
    "min": (lambda a, b: min(a, b), 2), "max": (lambda a, b: max(a, b), 2), "abs": (lambda a: abs(a), 1),
    "neg": (lambda a: -a, 1), "sqrt": (lambda a: math.sqrt(a), 1), "copysign": (lambda a, b: math.copysign(a, b), 2),
    "less": (lambda a, b: choose(a < b, 1.0, 2.0), 2), "unlike": (lambda a, b: choose(a != b, a, 7.0), 2),
    "both": (lambda a, b: choose((a >= 0.0) & (b <= 1.0) | (a == b), a, b), 2),
    "other way": (lambda a, b: choose(vector.opposite(a < b), a, b), 2),
    "conditions": (lambda a, b: choose(choose(a < 0.0, b < 0.0, b > 1.0), a, b), 2),
    "library exp": (lambda a: math.exp(a), 1), "library sin": (lambda a: math.sin(a), 1),
    "down": (lambda a: rounded_down(a), 1), "fma": (lambda a, b: vector.multiply_add(a, b, a), 2),
    "exp": (lambda a: elementary.exp(a), 1), "atan": (lambda a: elementary.atan(a), 1),
    "log": (lambda a: elementary.log(abs(a) + 1e-3), 1), "cosine": (lambda a: elementary.cosine_of_turns(a), 1),
}


def both_ways(function, count):
    """The function compiled for one number and, over arrays, for vectors."""
    one = njit(error_model="numpy")(function)
    if count == 1:
        @njit(error_model="numpy")
        def many(first, second, out):
            store(out, 0, 0, one(load(first, 0, 0)))
    else:
        @njit(error_model="numpy")
        def many(first, second, out):
            store(out, 0, 0, one(load(first, 0, 0), load(second, 0, 0)))

    return one, many


@pytest.mark.parametrize("name", FUNCTIONS)
def test_lanes_have_the_bits_of_single_numbers(name):
    function, count = FUNCTIONS[name]
    one, many = both_ways(function, count)
    special = np.resize([0.0, -0.0, 1.0, -1.0, math.inf, -math.inf, math.nan, 0.5], WIDTH)
    first, second, out = aligned(1, 1), aligned(1, 1), aligned(1, 1)
    random = np.random.default_rng(5)
    for turn in range(40):
        first[0, 0] = special if turn < WIDTH else random.normal(0.0, 10.0 ** (turn % 5), WIDTH)
        second[0, 0] = np.roll(special, turn) if turn < WIDTH else random.normal(0.0, 3.0, WIDTH)
        many(first, second, out)
        pairs = zip(first[0, 0].tolist(), second[0, 0].tolist(), strict=True)
        single = np.array([one(*pair[:count]) for pair in pairs])
        nan = np.isnan(single)
        assert np.array_equal(np.isnan(out[0, 0]), nan)
        assert np.array_equal(out[0, 0][~nan].view(np.uint64), single[~nan].view(np.uint64)), name


@njit(error_model="numpy")
def noise(seeds, channel, tick, out):
    """Both kinds of noise of WIDTH seeds."""
    store(out, 0, 0, uniform(load(seeds, 0, 0), channel, tick))
    store(out, 1, 0, gaussian(load(seeds, 0, 0), channel, tick))


@given(st.lists(st.integers(0, 2**63 - 1), min_size=WIDTH, max_size=WIDTH), st.integers(0, 3), st.integers(0, 2**40))
def test_noise_is_that_of_each_seed(seeds, channel, tick):
    rows, out = aligned(1, 1, np.uint64), aligned(2, 1)
    rows[0, 0] = seeds
    noise(rows, channel, tick, out)
    assert out[0, 0].tolist() == [uniform(seed, channel, tick) for seed in seeds]
    assert out[1, 0].tolist() == [gaussian(seed, channel, tick) for seed in seeds]


@njit(error_model="numpy")
def questions(rows):
    """Whether any lane is above one, and the largest."""
    return anywhere(load(rows, 0, 0) > 1.0), most(load(rows, 0, 0)), anywhere(2.0 > 1.0), most(3.0)


@given(st.lists(st.floats(-10, 10), min_size=WIDTH, max_size=WIDTH))
def test_questions_to_all_lanes(values):
    rows = aligned(1, 1)
    rows[0, 0] = values
    assert questions(rows) == (max(values) > 1.0, max(values), True, 3.0)


def test_outside_compiled_code_they_do_the_obvious():
    assert choose(True, 1.0, 2.0) == 1.0 and choose(False, 1.0, 2.0) == 2.0 and anywhere(True) and most(2.5) == 2.5
    assert rounded_down(-1.5) == -2.0 and vector.multiply_add(2.0, 3.0, 4.0) == 10.0
    assert vector.float_of(vector.bits_of(1.25)) == 1.25 and vector.as_float(vector.word_of(7)) == 7.0
