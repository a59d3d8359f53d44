"""The plan of formats: bits where they are asked for, coefficients nearest to the real ones, and what is refused."""
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.fixed.formats import Part, effective, plan, point, word_of
from controller.fixed.ranges import ranges_of
from plant.errors import InputError
from tests.controller.fixed.helper import LAW, RANGES, laws

some = settings(deadline=None, max_examples=30)


@pytest.mark.parametrize(("size", "words", "bits"), [(1.0, 16, 15), (64.0, 16, 9), (65.0, 16, 8), (0.25, 8, 9)])
def test_a_word_keeps_the_bits_that_its_range_leaves(size, words, bits):
    assert point(size, words) == bits
    assert size * 2**bits <= 2 ** (words - 1)


@some
@given(st.floats(1e-6, 100.0), st.sampled_from([8, 12, 16, 24]), st.integers(0, 20))
def test_a_coefficient_is_rounded_to_its_own_length(value, length, signal):
    word = word_of(Part(value, signal), length, 70)
    assert math.ldexp(word, signal - 70) == pytest.approx(value, rel=2.0 ** (1 - length))
    assert word_of(Part(-value, signal), length, 70) == pytest.approx(-word, abs=2 ** (70 - signal))


@some
@given(laws(), st.sampled_from([12, 16, 24, 32]))
def test_the_coefficients_that_words_stand_for_are_near_the_real_ones(coefficients, words):
    law, formats = plan(coefficients, words, ranges_of(coefficients, 64.0, 2.0, 2.0))
    for name, value in effective(law, formats)._asdict().items():
        # lengths given up for the proof leave no coefficient of 16 bits coarser than its length
        assert value == pytest.approx(getattr(coefficients, name), rel=2.0 ** (1 - min(words, 14)), abs=2e-6), name


def test_more_bits_are_never_coarser():
    before = None
    for words in range(8, 33):
        law, formats = plan(LAW, words, RANGES)
        if before is not None:
            assert law.notch_step <= before
        before = law.notch_step
        assert formats.words == words


@pytest.mark.parametrize(("change", "said"), [
    ({"words": 7}, "words = 7"), ({"words": 33}, "words = 33"), ({"coefficient_words": 40}, "coefficient words = 40"),
    ({"rounding": "up"}, "rounding"), ({"ranges": RANGES._replace(demand=math.inf)}, "range of demand"),
    ({"ranges": RANGES._replace(error_mmHg=0.0)}, "range of error_mmHg"),
])
def test_what_is_no_plan_is_refused(change, said):
    with pytest.raises(InputError, match=said):
        plan(LAW, **{"words": 16, "ranges": RANGES} | change)


def test_a_sum_without_room_for_its_coefficient_is_refused_by_name():
    with pytest.raises(InputError, match="sum of the demand has no room for its coefficient"):
        plan(LAW._replace(integral_new=1e-13), 32, RANGES._replace(demand=1e4))
