import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.pressure.pulse_shape import POINTS, pulse_shapes, read_shapes

intervals = st.floats(0.24, 4.0)


@given(intervals)
@settings(max_examples=40, deadline=None)
def test_foot_at_zero_and_peak_at_one_early_in_the_beat(interval):
    shape = pulse_shapes(np.array([interval]))[0]
    assert shape[0] == 0.0 and np.min(shape) > -2e-4 and np.max(shape) == pytest.approx(1.0, abs=1e-3)
    assert np.argmax(shape) < 0.35 * POINTS
    assert abs(shape[1] - shape[-1]) * POINTS / 2 / interval < 0.1  # zero slope at the foot, where 10/s is usual


@given(intervals, st.floats(-3.0, 3.0))
@settings(max_examples=40, deadline=None)
def test_reading_is_periodic_and_close_to_fourier(interval, phase):
    """The exact reading of a periodic row is its Fourier series."""
    shape = pulse_shapes(np.array([interval]))
    row = np.zeros(1, np.int64)
    found = read_shapes(shape, row, np.array([phase]))[0]
    assert found == pytest.approx(read_shapes(shape, row, np.array([phase + 1.0]))[0], abs=1e-9)
    spectrum = np.fft.rfft(shape[0]) / POINTS
    order = np.arange(1, len(spectrum) - 1)
    exact = spectrum[0].real + 2 * np.sum((spectrum[1:-1] * np.exp(2j * np.pi * order * phase)).real)
    assert found == pytest.approx(exact, abs=1e-4)


def test_rows_do_not_depend_on_their_neighbours():
    together = pulse_shapes(np.array([0.4, 0.9, 2.0]))
    assert together[1] == pytest.approx(pulse_shapes(np.array([0.9]))[0], abs=1e-12)


@given(st.floats(0.6, 4.0))
@settings(max_examples=20, deadline=None)
def test_a_dicrotic_wave_follows_the_notch(interval):
    """At rest rates an arterial pulse has a second, lower top (common knowledge)."""
    shape = pulse_shapes(np.array([interval]))[0]
    tops = np.flatnonzero((shape > np.roll(shape, 1)) & (shape >= np.roll(shape, -1)))
    assert len(tops) == 2 and 0.2 < shape[tops[1]] < 0.7
