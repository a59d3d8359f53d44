"""Timers and lags of the detectors."""
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.protection.watched import MOST_TICKS, Slow, lagged, lasted, reached, slow_lag, timer


@given(st.lists(st.booleans(), max_size=60))
def test_the_timer_counts_the_last_unbroken_run(flags):
    elapsed = 0
    for flag in flags:
        elapsed = timer(elapsed, flag)
    run = 0
    for flag in reversed(flags):
        if not flag:
            break
        run += 1
    assert elapsed == run


def test_a_timer_at_its_end_stays_there():
    assert timer(MOST_TICKS - 1, True) == timer(MOST_TICKS, True) == MOST_TICKS == 2**32 - 1
    assert timer(MOST_TICKS, False) == 0


@given(st.integers(1, 600_000), st.sampled_from([1e-3, 2.0**-10, 5e-4, 1e-4]))
def test_a_time_is_reached_on_its_own_tick_whatever_the_arithmetic(ticks, period):
    """In doubles, and with every number rounded to 24 bits as single precision has it."""
    for real in (float, np.float32):
        time = real(ticks * period)
        if real is np.float32 and ticks > 2**22:
            continue  # half a tick is below the last bit there
        assert reached(real(ticks), time, real(period)) and not reached(real(ticks - 1), time, real(period))


def test_what_must_last_no_time_lasts_from_its_first_tick():
    assert not lasted(0, 0.0, 1e-3) and lasted(1, 0.0, 1e-3)
    assert reached(0, 0.0, 1e-3) and not lasted(49, 0.05, 1e-3) and lasted(50, 0.05, 1e-3)


@given(st.floats(-100.0, 100.0), st.floats(-100.0, 100.0), st.floats(0.02, 60.0))
def test_the_wide_lag_is_the_lag_but_for_its_last_bits(value, target, memory):
    plain, wide = value, Slow(value, 0.0)
    for _ in range(50):
        plain, wide = lagged(plain, target, memory, 1e-3), slow_lag(wide, target, memory, 1e-3)
    assert wide.value == pytest.approx(plain, rel=1e-13, abs=1e-12)


def test_in_single_precision_the_wide_lag_arrives_where_the_other_stalls():
    """A minute's memory, ten minutes long: 0.2 % short by the one, the last bit by the other."""
    from controller.protection import watched

    lag, wide_lag = watched.lagged.py_func, watched.slow_lag.py_func
    memory, period, target = np.float32(60.0), np.float32(1e-3), np.float32(100.0)
    plain, wide = np.float32(99.0), Slow(np.float32(99.0), np.float32(0.0))
    for _ in range(600_000):
        plain, wide = lag(plain, target, memory, period), wide_lag(wide, target, memory, period)
    assert target - plain > 0.2
    assert abs(target - wide.value) < 1e-3


@given(st.floats(-100.0, 100.0), st.floats(-100.0, 100.0), st.floats(0.02, 2.0))
def test_the_lag_goes_to_its_target_in_its_time(value, target, memory):
    """Within its time constant it covers 1 − 1/e of the way, within the half step of an implicit Euler step."""
    start = value
    for _ in range(round(memory / 0.001)):
        value = lagged(value, target, memory, 0.001)
    left = math.exp(-round(memory / 0.001) * 0.001 / memory)
    assert value == pytest.approx(target + (start - target) * left, abs=0.03 * abs(target - start) + 1e-9)
