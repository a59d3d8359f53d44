import numpy as np
import pytest

from experiments.readings.servo.inverse import MOST, ServoKnown, inverse, left, noise_share, undone

PERIOD_s = 4e-3
TIME_s = PERIOD_s * np.arange(5000)
HARMONICS = ((1.25, 15.0, 0.2), (2.5, 8.0, 1.0), (5.0, 4.0, 2.0), (10.0, 1.0, 0.4))  # Hz, mmHg, rad


def lag(frequency_Hz):
    """A first-order loop of 6 Hz, and 10 ms of dead time."""
    return np.exp(-2j * np.pi * frequency_Hz * 0.01) / (1.0 + 1j * frequency_Hz / 6.0)


def pulse(response=np.ones_like):
    """A steady pulse after a response, exactly."""
    parts = [np.real(response(np.array([f + 0j]))[0] * a * np.exp(1j * (2.0 * np.pi * f * TIME_s + p)))
             for f, a, p in HARMONICS]
    return 90.0 + np.sum(parts, axis=0)


SLOW = ServoKnown(lag, 1e-3, 30.0)


def test_a_slow_servo_is_taken_back() -> None:
    read, middle = pulse(lag), slice(500, 4500)
    assert np.max(np.abs(read - pulse())[middle]) > 5.0
    assert undone(read, PERIOD_s, SLOW)[middle] == pytest.approx(pulse()[middle], abs=0.05)
    assert undone(pulse(), PERIOD_s, None)[middle] == pytest.approx(pulse()[middle], abs=1e-3)


def test_nothing_comes_across_a_gap() -> None:
    one = pulse(lag)
    one[2000:2100] = np.nan
    other = np.where(np.arange(5000) < 2000, one + 30.0, one)
    first, second = undone(one, PERIOD_s, SLOW), undone(other, PERIOD_s, SLOW)
    assert np.array_equal(np.isnan(first), np.isnan(one))
    assert np.array_equal(first[2100:], second[2100:]) and first[:2000] == pytest.approx(second[:2000] - 30.0)


def test_only_as_far_as_noise_and_trust_allow() -> None:
    high = np.array([20.0])
    deaf = ServoKnown(lambda f: np.full(len(f), 0.01 + 0j), 0.0, 30.0)
    assert abs(inverse(deaf, high)[0]) == pytest.approx(MOST) and abs(left(deaf, high)[0]) < 0.05
    noisy = SLOW._replace(noise_mmHg=20.0)
    assert noise_share(noisy, high)[0] > 100.0 and abs(inverse(noisy, high)[0]) < 0.01
    assert left(SLOW, np.array([0.0, 1.0, 5.0])) == pytest.approx(np.ones(3), abs=1e-3)
