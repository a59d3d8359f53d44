"""Requests, instrument and outcomes of the calibration protocol."""
import ast
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from calibrate import protocol
from calibrate.protocol import FAILURES, Failed, Found, Instrument, STRIDE_s

periods = st.sampled_from([0.0005, 0.001, 0.002, 0.0025])


@given(periods, st.floats(0.001, 100.0))
def test_requests_last_whole_strides(instrument: Instrument, period: float, seconds: float) -> None:
    own = instrument._replace(period_s=period)
    ticks, stride = own.ticks(seconds), round(STRIDE_s / period)
    assert ticks >= stride and ticks % stride == 0
    assert abs(ticks * period - max(seconds, STRIDE_s)) <= 0.5 * STRIDE_s + 1e-9


@given(st.floats(0.001, 100.0), st.floats(0.0, 10.0))
def test_who_asks_for_longer_gets_no_less(instrument: Instrument, seconds: float, more: float) -> None:
    assert instrument.ticks(seconds + more) >= instrument.ticks(seconds)


@pytest.mark.parametrize("reason", FAILURES)
def test_every_failure_says_what_was_seen_and_what_to_do(reason: str) -> None:
    what, advice = FAILURES[reason]
    message = Failed(reason, "figures").message
    assert message == f"{what} (figures): {advice}"
    assert "\n" not in message and len(advice.split()) > 3 and advice != what


def test_every_failure_that_is_raised_anywhere_has_a_message() -> None:
    """All `Failed("reason", …)` of the sources, and no reason that nobody gives."""
    rooms = Path(protocol.__file__).parents[1]
    given_reasons = set()
    for room in ("calibrate", "experiments"):
        for file in (rooms / room).rglob("*.py"):
            for node in ast.walk(ast.parse(file.read_text())):
                if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Failed":
                    assert isinstance(node.args[0], ast.Constant), f"{file.name}: reasons are written out"
                    given_reasons.add(node.args[0].value)
    assert given_reasons == set(FAILURES)


@given(st.floats(0.01, 50.0))
def test_ninety_percent_interval_is_that_of_a_normal_error(sd: float) -> None:
    interval = Found(0.5, 0.003, 80.0, sd).interval_mmHg
    assert norm.cdf(interval / sd) - norm.cdf(-interval / sd) == pytest.approx(0.9, abs=1e-3)
