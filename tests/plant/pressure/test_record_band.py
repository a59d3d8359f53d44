"""The band of a record: filters and coarser grids are seen, plain sampling is not taken for either."""
import numpy as np
import pytest

from plant.pressure.record_band import cut_off_Hz, grid_Hz

RATE_Hz = 250.0


def wave(seconds=60.0, rate_Hz=RATE_Hz, seed=2):
    """Noise that falls by 24 dB an octave from 2 Hz on, as a pulse's spectrum does, over a floor of 0.02 mmHg."""
    random = np.random.default_rng(seed)
    size = round(seconds * rate_Hz)
    frequency = np.fft.rfftfreq(size, 1.0 / rate_Hz)
    shape = 1.0 / (1.0 + (frequency / 2.0) ** 4)
    values = np.fft.irfft(shape * np.fft.rfft(random.standard_normal(size)), size)
    return 80.0 + 10.0 * values / values.std() + 0.002 * random.standard_normal(size)


def low_passed(values, corner_Hz, rate_Hz=RATE_Hz):
    """A fourth-order Butterworth filter, forwards and backwards."""
    from scipy.signal import butter, sosfiltfilt

    return sosfiltfilt(butter(4, corner_Hz, fs=rate_Hz, output="sos"), values)


def band(values, rate_Hz=RATE_Hz):
    return cut_off_Hz(values, np.ones(len(values), bool), 1.0 / rate_Hz, 1.2)


def test_what_is_not_filtered_has_half_its_sampling_rate():
    assert band(wave()) == pytest.approx(0.5 * RATE_Hz)


@pytest.mark.parametrize("corner", [12.5, 20.0, 25.0])
def test_a_filter_is_seen_near_its_corner(corner):
    assert band(low_passed(wave(), corner)) == pytest.approx(corner, rel=0.3)


def test_a_running_mean_of_40_ms_is_seen():
    assert 10.0 < band(np.convolve(wave(), np.full(10, 0.1), "valid")) < 20.0


@pytest.mark.parametrize("held", [True, False])
def test_samples_made_up_from_25_Hz_are_seen(held):
    values = wave()
    coarse = values[::10]
    joined = np.interp(np.arange(len(values) - 10), np.arange(0, len(values), 10), coarse)
    made = np.repeat(coarse, 10) if held else joined
    assert grid_Hz(made, np.ones(len(made), bool), 1.0 / RATE_Hz) == pytest.approx(25.0)
    assert band(made[3:]) == pytest.approx(12.5)


def test_own_samples_are_no_grid():
    assert grid_Hz(wave(), np.ones(15000, bool), 1.0 / RATE_Hz) == np.inf
    assert grid_Hz(np.full(1000, 80.0), np.ones(1000, bool), 1.0 / RATE_Hz) == np.inf


def test_a_slow_record_says_half_its_rate():
    assert band(wave(rate_Hz=25.0), 25.0) == pytest.approx(12.5)


def test_bad_samples_are_left_out():
    values, good = low_passed(wave(), 20.0), np.ones(15000, bool)
    values[7000:7010] += 50.0
    good[6990:7020] = False
    assert cut_off_Hz(values, good, 1.0 / RATE_Hz, 1.2) < 30.0
    assert cut_off_Hz(values, np.zeros(15000, bool), 1.0 / RATE_Hz, 1.2) == pytest.approx(0.5 * RATE_Hz)
