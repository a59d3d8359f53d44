"""Variance of a pressure over frequency."""
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from experiments.subjects.spectrum import SEGMENT_s, pressure_variance, rms_in_bands
from plant.errors import InputError

TIME = 1e-3 * np.arange(30_000)


@given(st.floats(0.5, 50.0), st.floats(0.1, 40.0))
def test_a_sine_is_found_where_it_is(frequency, amplitude):
    """Half its squared amplitude, within a bin or two of its frequency (Parseval)."""
    found, variance = pressure_variance(90.0 + amplitude * np.sin(2 * np.pi * frequency * TIME), 1e-3)
    assert rms_in_bands(variance) == pytest.approx(amplitude / np.sqrt(2.0), rel=0.01)
    assert found[np.argmax(variance)] == pytest.approx(frequency, abs=2.0 / SEGMENT_s + 0.06 * frequency)


def test_white_noise_below_the_highest_frequency():
    """Evenly spread up to half the tick rate, so a band holds its share."""
    noise = np.random.default_rng(1).standard_normal(30_000)
    _, variance = pressure_variance(noise, 1e-3, 250.0)
    assert np.sum(variance) == pytest.approx(0.5, rel=0.05)


def test_a_constant_has_no_variance():
    _, variance = pressure_variance(np.full(30_000, 95.0), 1e-3)
    assert rms_in_bands(variance) < 1e-9


def test_too_short_a_trace_is_refused():
    with pytest.raises(InputError, match=r"5 s long, a spectrum takes 8\.192 s"):
        pressure_variance(np.zeros(5000), 1e-3)
