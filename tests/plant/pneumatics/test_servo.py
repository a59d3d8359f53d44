"""The limited servo and play that both valves share."""
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.pneumatics.servo import follow_with_play, servo_rates

number = st.floats(-10, 10)


@given(st.floats(5, 500), st.floats(0.2, 3), number, number, number)
def test_without_a_limit_it_is_the_second_order_system(frequency, damping, target, position, velocity):
    """x'' = ω²(target − x) − 2ζω x': the textbook equation, as long as the speed limit is not met."""
    omega = 2.0 * math.pi * frequency
    speed, change = servo_rates(frequency, damping, 1e9, target, position, velocity)
    assert speed == velocity
    pull, drag = omega**2 * (target - position), 2.0 * damping * omega * velocity
    assert change == pytest.approx(pull - drag, rel=1e-9, abs=1e-12 * (abs(pull) + abs(drag)))


@given(st.floats(0.1, 100), number)
def test_speed_settles_at_its_limit(limit, position):
    """Far from the target the velocity stops changing exactly at the limit, either way."""
    for sign in (-1.0, 1.0):
        _, change = servo_rates(100.0, 0.7, limit, position + sign * 1e6, position, sign * limit)
        assert change == 0.0


@given(st.floats(0, 1), st.lists(number, min_size=1, max_size=10))
def test_play_follows_only_when_pushed(width, commands):
    held = 0.0
    for command in commands:
        moved = follow_with_play(width, held, command)
        assert abs(moved - command) <= 0.5 * width + 1e-12
        if abs(command - held) < 0.5 * width - 1e-12:
            assert moved == held
        held = moved
