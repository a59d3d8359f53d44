"""Tests of what is left over: noise passes, what is slow, white but large, or of the command does not."""
import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from experiments.identify.fit.residual_tests import autocorrelation, cross_correlation_p, leftover, ljung_box


def noise(seed, count=3000):
    return np.random.default_rng(seed).standard_normal(count)


COMMAND = np.repeat(np.random.default_rng(9).standard_normal(60), 50)


@given(st.integers(0, 10_000))
def test_noise_is_noise(seed):
    assert leftover(noise(seed), COMMAND, "a", "reading_mmHg", 0.02).is_noise


def test_what_is_not():
    slow = np.sin(np.arange(3000) / 100.0)
    assert not leftover(noise(1) + slow, COMMAND, "a", "b", 1.0).is_noise
    assert not leftover(1.2 * noise(1), COMMAND, "a", "b", 1.0).is_noise
    assert leftover(noise(1) + slow, COMMAND, "a", "b", 1.0).slow > leftover(noise(1), COMMAND, "a", "b", 1.0).slow
    answer = np.roll(np.diff(COMMAND, prepend=0.0), 7)
    assert cross_correlation_p(noise(1) + answer, COMMAND) < 1e-6
    assert leftover(2.0 * noise(1), COMMAND, "a", "b", 0.1).rms == np.sqrt(np.mean((0.2 * noise(1)) ** 2))


def test_probabilities_are_uniform_under_noise():
    """Of 200 draws about one in ten is below 0.1."""
    found = np.array([ljung_box(noise(seed, 600)) for seed in range(200)])
    assert 0.04 < np.mean(found < 0.1) < 0.17 and 0.4 < np.median(found) < 0.6


def test_autocorrelation_by_its_definition():
    values = noise(4, 300) - np.mean(noise(4, 300))
    direct = [np.sum(values[k:] * values[:-k]) / np.sum(values**2) for k in range(1, 6)]
    assert np.allclose(autocorrelation(values, 5), direct)
    assert np.array_equal(autocorrelation(np.zeros(50), 3), np.zeros(3))


def test_a_still_command_tells_nothing():
    assert cross_correlation_p(noise(1), np.zeros(3000)) == 1.0
