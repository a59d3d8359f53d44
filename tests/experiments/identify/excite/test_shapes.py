"""Shapes of commands have the levels, lines and lengths that were asked for."""
import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from experiments.identify.excite.shapes import chirp, multisine, multisine_lines, steps, triangle


def test_steps_and_triangle():
    assert np.array_equal(steps([(0.2, 0.003), (0.0, 0.001)], 1e-3), [0.2, 0.2, 0.2, 0.0])
    wave = triangle(-0.1, 0.3, 2.0, 1e-3)
    assert wave[0] == 0.0 and np.isclose(np.max(wave), 0.3, atol=1e-3) and np.isclose(np.min(wave), -0.1, atol=1e-3)
    assert np.ptp(np.abs(np.diff(wave))[:-1]) < 1e-3


def test_a_chirp_rises():
    wave = chirp(2.0, 100.0, 2.0, 1e-3)
    crossings = np.flatnonzero(np.diff(np.sign(wave)) != 0)
    assert np.max(np.abs(wave)) <= 1.0 and crossings[1] - crossings[0] > 5 * (crossings[-1] - crossings[-2])


@given(st.floats(1.0, 10.0), st.integers(5, 80))
def test_lines_are_odd_and_few(base, count):
    lines = multisine_lines(base, 400.0, count)
    assert np.all(lines % 2 == 1) and len(lines) <= count and lines[-1] * base <= 400.0


def test_a_multisine_repeats_and_has_its_lines_only():
    lines = multisine_lines(2.0, 200.0, 20)
    wave = multisine(lines, 2.0, 3, 1e-3, 7)
    assert len(wave) == 1500 and np.array_equal(wave[:500], wave[500:1000]) and np.max(np.abs(wave)) == 1.0
    spectrum = np.abs(np.fft.rfft(wave[:500]))
    there = np.zeros(251, bool)
    there[lines] = True
    assert np.all(spectrum[~there] < 1e-9) and np.ptp(spectrum[there]) < 1e-9 * spectrum[lines[0]] + 1e-6
