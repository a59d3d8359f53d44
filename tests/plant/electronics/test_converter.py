"""Laws of the converter: monotone, idempotent, odd about zero, never off by more than half a step between its ends."""
import math

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from plant.electronics.converter import convert

LOW, HIGH = -300.0, 320.0
values = st.floats(-500.0, 500.0)
steps = st.floats(1e-4, 50.0)
many = settings(deadline=None)  # the first call compiles


@many
@given(values, values, steps)
def test_is_monotone(one, other, step):
    below, above = sorted((one, other))
    assert convert(below, LOW, HIGH, step) <= convert(above, LOW, HIGH, step)


@many
@given(values, steps)
def test_converting_a_reading_again_changes_nothing(value, step):
    reading = convert(value, LOW, HIGH, step)
    assert convert(reading, LOW, HIGH, step) == reading


@many
@given(st.integers(-2000, 2000), st.integers(1, 2000), st.floats(0.0, 1.0), steps)
@example(-409, 1, 0.0, 1e-4)  # −409 · 1e-4/1e-4 is not −409 in floating point
def test_is_off_by_half_a_step_at_most_between_its_outermost_levels(first, count, share, step):
    low, high = first * step, (first + count) * step
    value = low + share * (high - low)
    assert abs(convert(value, low, high, step) - value) <= 0.5 * step * (1.0 + 1e-9)


@many
@given(values, steps)
def test_readings_are_whole_steps_and_less_than_a_step_from_where_they_are_clipped(value, step):
    reading = convert(value, LOW, HIGH, step)
    assert reading / step == pytest.approx(round(reading / step), abs=1e-6)
    assert abs(reading - min(max(value, LOW), HIGH)) < step * (1.0 + 1e-9)


@many
@given(st.floats(0.0, 0.499), steps)
def test_zero_is_a_level_with_half_a_step_on_either_side(share, step):
    """Mid-tread: a signal that never leaves ±half a step reads zero. From the definition."""
    assert convert(share * step, LOW, HIGH, step) == 0.0
    assert convert(-share * step, LOW, HIGH, step) == 0.0
    assert convert(0.501 * step, LOW, HIGH, step) == step
    assert convert(-0.501 * step, LOW, HIGH, step) == -step


@many
@given(st.floats(allow_nan=False), st.floats(-10.0, 1000.0))
def test_nothing_leaves_the_range(value, step):
    assert -40.0 <= convert(value, -40.0, 400.0, step) <= 400.0


@many
@given(values, st.floats(-1.0, 0.0))
def test_without_a_step_it_only_clips(value, step):
    assert convert(value, LOW, HIGH, step) == min(max(value, LOW), HIGH)


@pytest.mark.parametrize("step", [0.0, 0.01])
def test_not_a_number_stays_one(step):
    """A run that has gone wrong must not be given a plausible reading."""
    assert math.isnan(convert(math.nan, LOW, HIGH, step))
