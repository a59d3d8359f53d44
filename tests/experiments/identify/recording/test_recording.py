"""A recording tells its length, and noise is found at rest as beside a signal."""
import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from experiments.identify.recording.recording import Recording, noise_of, resting_samples, usual_noise
from tests.experiments.identify.recording.bad_tables import good


def test_length():
    columns = good()
    one = Recording("a", "step", 1e-3, columns["command"], {"reading_mmHg": columns["reading_mmHg"]}, {})
    assert one.duration_s == 1.0


def test_rest_ends_where_the_command_moves():
    assert resting_samples(good()["command"]) == 101
    assert resting_samples(np.zeros(7)) == 7


@given(st.floats(0.02, 2.0), st.integers(0, 100))
def test_noise_is_found_with_and_without_a_rest(sd, seed):
    """Beside a slow signal as well; within what so few samples tell."""
    noise = sd * np.random.default_rng(seed).standard_normal(4000)
    slow = 50.0 * np.sin(np.arange(4000) / 400.0)
    assert abs(noise_of(noise, 1000)[0] / sd - 1.0) < 0.12
    assert abs(noise_of(noise + slow, 0)[0] / sd - 1.0) < 0.2


def test_steps_of_a_converter_count_as_noise():
    """A signal that moves in whole steps without noise is off by step/√12."""
    values = np.concatenate([np.zeros(100), np.round(np.linspace(0.0, 40.0, 900))])
    assert noise_of(values, 100)[0] == 1.0 / np.sqrt(12.0)


def test_what_moves_is_not_at_rest():
    values = np.concatenate([np.linspace(0.0, 50.0, 400), np.full(600, 50.0)])
    values = values + 0.1 * np.random.default_rng(1).standard_normal(1000)
    assert noise_of(values, 400)[0] > 10.0 and 0.08 < usual_noise(values, 400)[0] < 0.13
