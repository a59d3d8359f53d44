"""What disturbs a loop on a pressure trace."""
import numpy as np
import pytest

from experiments.check.judged import judge_loops
from experiments.rigs.rig import load_rig
from experiments.subjects.disturbed import disturbances, light_spectrum, venous_volume
from experiments.subjects.spectrum import joint_variance, pressure_variance
from plant.finger.light import sample_deviation
from plant.finger.vein import Vein, linear_twin, vein_target
from plant.pressure.synthetic import SyntheticPressure, synthesise

TIME = np.arange(20_000) * 1e-3


@pytest.fixture(scope="module")
def trace():
    return synthesise(SyntheticPressure(), 1e-3, 20.0, 1)


def test_veins_under_a_steady_pressure_stay_where_they_rest():
    vein = Vein()
    assert venous_volume(vein, np.full(1000, 60.0), 1e-3) == pytest.approx(float(vein_target(vein, 60.0)))


def test_a_small_wave_moves_them_as_their_twin_says():
    """With equal time constants, for the twin describes emptying only; second playing of a whole number of waves."""
    vein = Vein(emptying_s=1.5, filling_s=1.5)
    wave = venous_volume(vein, 60.0 + 0.5 * np.sin(2 * np.pi * TIME), 1e-3)[10_000:]
    gain = abs(2.0 * np.mean((wave - np.mean(wave)) * np.exp(-2j * np.pi * TIME[10_000:]))) / 0.5
    expected = abs(linear_twin(vein, 60.0).response("venous_volume", "external_pressure", np.array([2 * np.pi]))[0])
    assert gain == pytest.approx(expected, rel=0.02)


def test_two_signals_share_what_they_share():
    """The second is the first a quarter wave later and of twice its size: its covariance is imaginary."""
    first, second = np.sin(2 * np.pi * 5.0 * TIME), 2.0 * np.sin(2 * np.pi * 5.0 * TIME - 0.5 * np.pi)
    _, one, two, cross = joint_variance(first, second, 1e-3)
    assert np.sum(one) == pytest.approx(0.5, rel=1e-3) and np.sum(two) == pytest.approx(2.0, rel=1e-3)
    assert np.sum(cross) == pytest.approx(1.0j, rel=1e-2)
    assert np.array_equal(pressure_variance(first, 1e-3)[1], one)


def test_noise_is_that_of_a_sample_and_short_traces_are_repeated(trace):
    rig = load_rig("wrist")
    loops = [j.loop for j in judge_loops(rig, {"here": 95.0})]
    found = disturbances(loops, rig, trace)
    assert len(found) == 2
    for one, loop in zip(found, loops, strict=True):
        assert np.sum(one.noise_mmHg2) == pytest.approx((sample_deviation(rig.plant.light) / loop.light_slope) ** 2)
    short = trace._replace(pressure_mmHg=trace.pressure_mmHg[:3000], usable=trace.usable[:3000])
    assert np.sum(light_spectrum(loops[0], 0.0, short).pressure_mmHg2) > 10.0


def test_veins_without_blood_add_nothing(trace):
    dry = load_rig("wrist", ["light.venous_path_cm=0"])
    found = disturbances([j.loop for j in judge_loops(dry, {"here": 95.0})], dry, trace)[0]
    assert not np.any(found.venous_mmHg2) and not np.any(found.cross_mmHg2)
