"""Repeatable noise: the right distribution, no correlation between neighbours of any kind, the same bits every time."""
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numba import njit
from scipy import stats

from plant.numerics.noise import JITTER, LIGHT, MISSED, NOISE_CHANNELS, PRESSURE, gaussian, scrambled, uniform

few = settings(max_examples=100, deadline=None)
COUNT = 20_000
channels = st.integers(0, NOISE_CHANNELS - 1)
seeds = st.integers(0, 2**62)
ticks = st.integers(0, 2**40)


@njit
def uniforms(seed: int, channel: int, start: int, count: int) -> np.ndarray:
    return np.array([uniform(seed, channel, start + k) for k in range(count)])


@njit
def gaussians(seed: int, channel: int, start: int, count: int) -> np.ndarray:
    return np.array([gaussian(seed, channel, start + k) for k in range(count)])


@njit
def scramble(value: np.uint64) -> np.uint64:
    return scrambled(value)


@pytest.mark.parametrize(
    ("seed", "first"), [(1234567, 6457827717110365317), (0, 0xE220A8397B1DCDAF)]
)
def test_first_number_of_splitmix64(seed: int, first: int) -> None:
    """The published generator's first output for a seed (Steele, Lea & Flood 2014). [memory, high]"""
    assert int(scramble(np.uint64(seed))) == first


@pytest.mark.parametrize(("seed", "channel"), [(0, LIGHT), (1, PRESSURE), (123456789, JITTER), (2**40, MISSED)])
def test_uniform_is_uniform(seed: int, channel: int) -> None:
    """Kolmogorov–Smirnov, and its low digits too: the last of 53 bits is as random as the first."""
    sample = uniforms(seed, channel, 0, COUNT)
    assert sample.min() >= 0.0 and sample.max() < 1.0
    assert stats.kstest(sample, "uniform").pvalue > 1e-3
    assert stats.kstest((sample * 2.0**20) % 1.0, "uniform").pvalue > 1e-3


@pytest.mark.parametrize(("seed", "channel"), [(0, LIGHT), (1, PRESSURE), (123456789, JITTER), (2**40, MISSED)])
def test_gaussian_is_standard_normal(seed: int, channel: int) -> None:
    """Kolmogorov–Smirnov and the moments of order two to four (D'Agostino & Pearson)."""
    sample = gaussians(seed, channel, 0, COUNT)
    assert np.all(np.isfinite(sample))
    assert stats.kstest(sample, "norm").pvalue > 1e-3
    assert stats.normaltest(sample).pvalue > 1e-3


def correlation(first: np.ndarray, second: np.ndarray) -> float:
    return float(np.corrcoef(first, second)[0, 1]) * np.sqrt(len(first))


def test_channels_seeds_and_ticks_are_independent() -> None:
    """Between all neighbouring seeds, all channels, and ticks near each other, correlations stay within chance."""
    streams = [gaussians(seed, channel, 0, COUNT) for seed in range(4) for channel in range(NOISE_CHANNELS)]
    scores = [correlation(a, b) for i, a in enumerate(streams) for b in streams[:i]]
    scores += [correlation(s[:-lag], s[lag:]) for s in streams for lag in (1, 2, 3, 64)]
    squares = [correlation(a**2, b**2) for i, a in enumerate(streams) for b in streams[:i]]
    squares += [correlation(s[:-1], s[1:] ** 2) for s in streams]  # a draw shared between two ticks shows here
    for group in (scores, squares):
        assert max(map(abs, group)) < 4.5  # some 180 standard normal scores: chance of one beyond is 1e-3
        assert np.std(group) == pytest.approx(1.0, abs=0.2)


def test_white_spectrum() -> None:
    """Equal power in every fifth of the band."""
    power = np.abs(np.fft.rfft(gaussians(7, LIGHT, 0, 2**14)))[1:-1] ** 2
    fifths = [part.mean() for part in np.array_split(power, 5)]
    np.testing.assert_allclose(fifths, np.mean(fifths), rtol=0.1)


@few
@given(seeds, channels, ticks)
def test_same_seed_same_bits_in_any_order(seed: int, channel: int, tick: int) -> None:
    """A pure function of its three counters, whether called alone or in a stretch that starts elsewhere."""
    alone = gaussian(seed, channel, tick)
    assert gaussian(seed, channel, tick) == alone
    assert gaussians(seed, channel, max(tick - 3, 0), 7)[min(tick, 3)] == alone
    assert 0.0 <= uniform(seed, channel, tick) < 1.0


@few
@given(seeds, channels, ticks)
def test_each_counter_matters(seed: int, channel: int, tick: int) -> None:
    """Another seed, channel or tick gives another number."""
    here = uniform(seed, channel, tick)
    assert here != uniform(seed + 1, channel, tick)
    assert here != uniform(seed, channel + 1, tick)
    assert here != uniform(seed, channel, tick + 1)
