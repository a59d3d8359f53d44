"""Words: what a sum becomes when it is stored."""
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.fixed.words import bounded, store, stored, stored_real

many = settings(deadline=None)


@many
@given(st.integers(-(2**60), 2**60), st.integers(0, 40), st.integers(8, 32))
def test_a_word_is_the_nearest_to_its_sum_and_halves_go_upwards(total, shift, bits):
    own = store(bits, shift)
    wanted = (2 * total + 2**shift) // 2 ** (shift + 1)  # the whole number nearest to total / 2^shift
    assert stored(total, own) == min(max(wanted, -(2 ** (bits - 1))), 2 ** (bits - 1) - 1)


@many
@given(st.integers(-(2**60), 2**60), st.integers(0, 40))
def test_rounding_downwards_never_goes_above_the_sum(total, shift):
    word = stored(total, store(64 - shift if shift > 2 else 62, shift, "down"))
    assert word * 2**shift <= total < (word + 1) * 2**shift


@pytest.mark.parametrize(("value", "word"), [(0.25, 1), (-0.25, 0), (0.24, 0), (-0.26, -1), (1e9, 127), (-1e9, -128)])
def test_a_real_number_becomes_the_nearest_word_or_a_limit(value, word):
    assert stored_real(value, 2.0, store(8, 0)) == word


@pytest.mark.parametrize("value", [math.nan, -math.inf])
def test_what_is_no_number_becomes_the_smallest_word(value):
    assert stored_real(value, 2.0, store(16, 0)) == -32768


@many
@given(st.integers(-(2**62), 2**62), st.integers(0, 2**62))
def test_a_bounded_sum_stays_within_its_bound(total, most):
    assert bounded(total, most) == (total if abs(total) <= most else math.copysign(1, total) * most)
