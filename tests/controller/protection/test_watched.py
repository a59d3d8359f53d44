"""Timer and lag of the detectors."""
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.protection.watched import lagged, timer


@given(st.lists(st.booleans(), max_size=60))
def test_the_timer_counts_the_last_unbroken_run(flags):
    elapsed = 0.0
    for flag in flags:
        elapsed = timer(elapsed, flag, 0.001)
    run = 0
    for flag in reversed(flags):
        if not flag:
            break
        run += 1
    assert elapsed == pytest.approx(0.001 * run)


@given(st.floats(-100.0, 100.0), st.floats(-100.0, 100.0), st.floats(0.02, 2.0))
def test_the_lag_goes_to_its_target_in_its_time(value, target, memory):
    """Within its time constant it covers 1 − 1/e of the way, within the half step of an implicit Euler step."""
    start = value
    for _ in range(round(memory / 0.001)):
        value = lagged(value, target, memory, 0.001)
    left = math.exp(-round(memory / 0.001) * 0.001 / memory)
    assert value == pytest.approx(target + (start - target) * left, abs=0.03 * abs(target - start) + 1e-9)
