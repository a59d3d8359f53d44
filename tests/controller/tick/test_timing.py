"""Dead time as whole ticks and a fraction, and the jitter that fits."""
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.tick.timing import Timing, dead_ticks
from plant.errors import InputError

few = settings(max_examples=60, deadline=None)
periods = st.floats(1e-4, 0.02)
wholes = st.integers(0, 60)


@few
@given(periods, wholes, st.floats(1e-6, 1.0 - 1e-6))
def test_any_length_splits_and_adds_up(period_s: float, whole: int, share: float) -> None:
    found, left = dead_ticks(Timing(period_s=period_s, dead_time_s=(whole + share) * period_s))
    assert found == whole
    assert left == pytest.approx(share, abs=1e-12)


@few
@given(periods, wholes, st.sampled_from([0.0, 1e-12, -1e-12]))
def test_exact_multiples_have_no_fraction(period_s: float, whole: int, off_ticks: float) -> None:
    """Within 1e-12 of a tick of a whole number is rounding, on either side of it."""
    dead_time_s = max(whole + off_ticks, 0.0) * period_s
    assert dead_ticks(Timing(period_s=period_s, dead_time_s=dead_time_s)) == (whole, 0.0)


@pytest.mark.parametrize("ticks", [1, 3, 7, 100])
@pytest.mark.parametrize("off_s", [0.0, 5e-13, -5e-13])
def test_decimal_milliseconds_are_whole_ticks(ticks: int, off_s: float) -> None:
    """0.007 / 0.001 is 7.000000000000001 in floating point: not eight ticks less a bit, and no sliver of a piece."""
    assert dead_ticks(Timing(period_s=0.001, dead_time_s=round(ticks * 0.001, 3) + off_s)) == (ticks, 0.0)


def test_no_dead_time() -> None:
    assert dead_ticks(Timing(dead_time_s=0.0)) == (0, 0.0)


@few
@given(periods, st.floats(0, 0.1))
def test_share_is_a_proper_fraction(period_s: float, dead_time_s: float) -> None:
    whole, share = dead_ticks(Timing(period_s=period_s, dead_time_s=dead_time_s))
    assert 0.0 <= share < 1.0
    assert math.isclose((whole + share) * period_s, dead_time_s, rel_tol=1e-9, abs_tol=1e-9 * period_s)


@few
@given(wholes, st.floats(0, 0.999), st.floats(0, 1), st.floats(1e-3, 1))
def test_jitter_must_fit_into_the_rest_of_the_tick(whole: int, share: float, part: float, over: float) -> None:
    """What fits passes and changes nothing; what does not is refused, by name, with value and limit."""
    timing = Timing(dead_time_s=(whole + share) * 0.001)
    room = 0.001 * (1.0 - dead_ticks(timing)[1])
    assert dead_ticks(timing._replace(jitter_s=part * room)) == dead_ticks(timing)
    jitter = room + over * 0.001
    with pytest.raises(InputError) as refusal:
        dead_ticks(timing._replace(jitter_s=jitter))
    assert str(refusal.value).startswith(f"timing.jitter_s = {jitter:.6g}: at most {room:.6g} s")


def test_refusal_reads_well() -> None:
    with pytest.raises(InputError) as refusal:
        dead_ticks(Timing(dead_time_s=0.00125, jitter_s=0.0008))
    assert str(refusal.value) == ("timing.jitter_s = 0.0008: at most 0.00075 s fits into what dead_time_s = 0.00125 "
                                  "leaves of a tick")


def test_a_whole_dead_time_leaves_a_whole_tick_for_jitter() -> None:
    assert dead_ticks(Timing(dead_time_s=0.002, jitter_s=0.001)) == (2, 0.0)
