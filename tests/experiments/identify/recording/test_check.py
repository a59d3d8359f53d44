"""Each kind of bad recording has its one line."""
import numpy as np
import pytest

from experiments.identify.recording import check
from plant.errors import InputError
from tests.experiments.identify.recording.bad_tables import good


def test_a_clock_is_held_against_what_the_recorder_was_set_to():
    time_s = good()["time_s"]
    assert check.even_period(time_s, "x", 1000.0) == pytest.approx(1e-3)
    with pytest.raises(InputError, match=r"its clock drifts.*off by"):
        check.even_period(time_s * 1.003, "x", 1000.0)


def test_a_clock_is_held_against_the_file_that_was_played():
    """0.3 % of a second are three samples: told; the same pace is not, whatever the start."""
    edges = np.where((np.arange(5000) % 1000) < 500, 0.5, 0.0)
    check.check_clock(np.concatenate([np.zeros(37), edges[:-37]]), edges, 1e-3, 1e-3, "x")
    with pytest.raises(InputError, match=r"drifts: the command took \+0.3 % longer"):
        check.check_clock(edges, edges, 1.003e-3, 1e-3, "x")


def test_ends_that_are_swapped():
    """The pressure at the valve end leads: air goes down the pressure."""
    near = np.cumsum(np.random.default_rng(1).standard_normal(2000))
    far = np.zeros(2000)
    for k in range(1999):
        far[k + 1] = far[k] + 0.1 * (near[k] - far[k])
    check.check_ends({"node_mmHg": near, "cuff_mmHg": far}, "x")
    with pytest.raises(InputError, match="look swapped"):
        check.check_ends({"node_mmHg": far, "cuff_mmHg": near}, "x")


def test_light_is_a_share():
    with pytest.raises(InputError, match="fraction of full scale"):
        check.check_measured("light", np.linspace(0.0, 5.0, 50), 0.01, "x")


def test_longest_run_at_an_end():
    assert check.longest_at_end(np.array([0.0, 1.0, 3.0, 3.0, 3.0, 2.0])) == (3, 2)


def test_a_plateau_without_noise_is_no_clipping():
    """A quiet signal in coarse steps may rest at its highest value."""
    check.check_measured("reading_mmHg", np.concatenate([np.arange(50.0), np.full(50, 49.0)]), 0.289, "x")
