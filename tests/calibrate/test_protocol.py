"""Requests, instrument and outcomes of the calibration protocol."""
import pytest

from calibrate.protocol import FAILURES, Failed, Found, Instrument, STRIDE_s

INSTRUMENT = Instrument(0.001, 240.0, 2.0**-16, 0.009, 36.0, 1.0 + 0.0j, 2e-5)


@pytest.mark.parametrize("seconds", [0.001, 0.05, 0.07, 1.25, 3.0])
def test_requests_last_whole_strides(seconds: float) -> None:
    ticks = INSTRUMENT.ticks(seconds)
    stride = round(STRIDE_s / INSTRUMENT.period_s)
    assert ticks >= stride and ticks % stride == 0
    assert abs(ticks * INSTRUMENT.period_s - seconds) <= STRIDE_s


@pytest.mark.parametrize("reason", FAILURES)
def test_every_failure_says_what_to_do(reason: str) -> None:
    message = Failed(reason, "figures").message
    assert "(figures): " in message and len(message.split("): ")[1]) > 10


def test_ninety_percent_interval_is_that_of_a_normal_error() -> None:
    assert Found(0.5, 0.003, 80.0, 2.0).interval_mmHg == pytest.approx(3.29)
