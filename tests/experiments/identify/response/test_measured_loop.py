"""Margins on measured data: those of the twin, within the band, and dead time within its uncertainty."""
import numpy as np
import pytest

from experiments.identify.response.frequency_response import response_of
from experiments.identify.response.measured_loop import (
    correction_of,
    dead_time,
    figures_at,
    measured_margins,
    side_played,
    twin_gain,
)
from experiments.rigs.rig import load_rig
from plant.errors import InputError
from tests.experiments.identify.response.multisines import played


@pytest.fixture(scope="module")
def response():
    return response_of(played())


def test_as_the_twin_has_it(response):
    """Lines below 200 Hz, most within the region, all within 5 %; the loop at the pressure that was played at."""
    rig = load_rig("cabinet")
    judged = side_played(rig, response)
    assert abs(judged.loop.point.state.cuff_mmHg - response.level) < 0.5
    exact = twin_gain(judged.loop, "reading_mmHg", response.frequency_Hz)
    low = response.frequency_Hz < 200.0
    assert np.mean(np.abs(response.gain - exact)[low] < 2.0 * response.radius[low]) > 0.9
    assert np.max(np.abs(response.gain / exact - 1.0)[low]) < 0.05


def test_margins_and_dead_time(response):
    rig = load_rig("cabinet")
    found = measured_margins(rig, response)
    for name, (value, sd) in found.figures.items():
        assert abs(value - found.twin[name]) < 0.02 * found.twin[name] and 0.0 < sd < 0.02 * value
    value, sd = dead_time(rig, response)
    assert abs(value - 0.001) < 5.0 * sd and sd < 1e-5


def test_what_was_found_beside_the_twin(response):
    """Of the rig itself next to nothing; of one whose dead time is not in its twin that delay; a draw lies about it."""
    same = correction_of(load_rig("cabinet"), response)
    low = same.omega_rad_s < 2.0 * np.pi * 100.0
    assert np.max(np.abs(same.log_gain[low])) < 0.05 and np.max(np.abs(same.phase_rad[low])) < 0.05
    late = correction_of(load_rig("cabinet", ["timing.dead_time_s=0.0"]), response)
    slope = np.sum(late.phase_rad * late.omega_rad_s) / np.sum(late.omega_rad_s**2)
    assert -slope == pytest.approx(0.001, rel=0.05)
    one, again, other = (correction_of(load_rig("cabinet"), response, seed) for seed in (1, 1, 2))
    assert np.array_equal(one.log_gain, again.log_gain) and not np.array_equal(one.log_gain, other.log_gain)
    inside = response.frequency_Hz < 490.0
    sd = (response.total_sd / np.abs(response.gain))[inside] * np.sqrt(0.5)
    assert 0.7 < np.sqrt(np.mean(((one.log_gain - same.log_gain) / sd) ** 2)) < 1.3


def test_a_slower_transducer_costs_phase(response):
    """A rig whose twin is quicker than what was measured loses the margin that the measured one does not have."""
    quick = load_rig("cabinet", ["timing.dead_time_s=0.0"])
    found = measured_margins(quick, response)
    assert found.figures["phase_margin_deg"][0] < found.twin["phase_margin_deg"] - 2.0


def test_figures_of_a_known_loop():
    """10/s with 10 ms of dead time: crossover at 10 rad/s, phase margin 90° less 0.1 rad, gain margin π/2 · 10."""
    frequency = np.geomspace(0.1, 100.0, 5000)
    s = 2j * np.pi * frequency
    found = figures_at(frequency, 10.0 / s * np.exp(-0.01 * s))
    assert found["crossover_Hz"] == pytest.approx(10.0 / (2.0 * np.pi), rel=1e-4)
    assert found["phase_margin_deg"] == pytest.approx(90.0 - np.degrees(0.1), abs=0.01)
    assert found["gain_margin_dB"] == pytest.approx(20.0 * np.log10(5.0 * np.pi), abs=0.01)


def test_what_cannot_be(response):
    rig = load_rig("cabinet")
    with pytest.raises(InputError, match="no finger"):
        measured_margins(rig, response._replace(level=900.0))
    with pytest.raises(InputError, match="channel flow_mL_s"):
        measured_margins(rig, response._replace(channel="flow_mL_s"))
