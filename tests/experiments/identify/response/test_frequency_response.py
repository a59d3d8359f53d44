"""Responses against the exact one, SciPy and python-control; noise and distortion told apart; what is no multisine."""
import control
import numpy as np
import pytest
from scipy import signal

from experiments.identify.response.frequency_response import hold, period_samples, response_of, without_drift
from plant.errors import InputError
from tests.experiments.identify.response.multisines import filtered


def test_the_exact_response_of_a_lag_that_holds():
    one, rate = filtered()
    found = response_of([one])
    exact = 100.0 * rate / (2j * np.pi * found.frequency_Hz + rate)
    assert abs(found.gain[0] / exact[0] - 1.0) < 1e-3 and np.all(found.coherence > 1.0 - 1e-9)
    assert np.max(np.abs(found.gain / exact - 1.0)) < 0.2  # images of the hold fold back: a lag lets them through


def test_as_python_control_has_the_sampled_lag():
    """What was sampled is the zero-order-hold equivalent, to rounding."""
    one, rate = filtered()
    found = response_of([one])
    sampled = control.sample_system(control.tf([100.0 * rate], [1.0, rate]), 1e-3, "zoh")
    exact = sampled(np.exp(2j * np.pi * found.frequency_Hz * 1e-3))
    assert np.max(np.abs(found.gain * hold(found.frequency_Hz, 1e-3) / exact - 1.0)) < 1e-9


def test_as_scipys_cross_spectra():
    """Welch's estimate with a period a segment, at the same lines, but for the drift that ours takes out; coherence."""
    one, _ = filtered(noise=0.01)
    found = response_of([one])
    count = period_samples(one.command, 6)
    u, y = one.command[count:], one.channels["reading_mmHg"][count:]
    options = {"fs": 1000.0, "window": "boxcar", "nperseg": count, "noverlap": 0, "detrend": False}
    frequency, cross = signal.csd(u, y, **options)
    _, power = signal.welch(u, **options)
    at = np.round(found.frequency_Hz * count / 1000.0).astype(int)
    assert np.allclose(frequency[at], found.frequency_Hz)
    assert np.allclose(found.gain * hold(found.frequency_Hz, 1e-3), cross[at] / power[at], rtol=0.01)
    _, coherence = signal.coherence(u, y, **options)
    assert np.allclose(found.coherence, coherence[at], atol=2e-3)


def test_regions_hold():
    """Of many lines under noise about 95 % lie in their regions."""
    clean = response_of([filtered()[0]]).gain
    inside = []
    for seed in range(1, 21):
        found = response_of([filtered(seed, noise=0.02)[0]])
        inside.append(np.abs(found.gain - clean) < found.radius)
    assert 0.80 < np.mean(inside) < 0.99


def test_distortion_is_told_by_realisations():
    """A cubic answer: no noise from period to period, but scatter from realisation to realisation."""
    found = response_of([filtered(seed, cubic=2.0)[0] for seed in range(1, 7)])
    assert np.max(found.noise_sd) < 1e-9 < 1e-3 < np.median(found.total_sd) and found.realisations == 6


def test_drift_is_taken_out():
    flat = np.tile(np.sin(np.arange(50) * 2.0 * np.pi / 50.0), (4, 1))
    drift = (0.01 * np.arange(200)).reshape(4, 50)
    assert np.allclose(without_drift(flat + drift), flat, atol=1e-9)


def test_what_is_no_multisine():
    one, _ = filtered()
    with pytest.raises(InputError, match="no multisine"):
        response_of([one._replace(played="step")])
    with pytest.raises(InputError, match="three periods"):
        response_of([one._replace(periods=2)])
    with pytest.raises(InputError, match="does not repeat"):
        response_of([one._replace(command=np.random.default_rng(1).standard_normal(3000))])
    with pytest.raises(InputError, match="other lines"):
        response_of([one, one._replace(command=np.tile(one.command[:250], 12))])
