"""Light through a finger: at rest the plant's own operating point, and the plant's own rates throughout."""
import numpy as np
import pytest

from experiments.identify.light.bench import LightBench
from experiments.identify.light.kernel import FingerState, finger_course, finger_rates, phantom_course
from experiments.rigs.rig import clamp, load_rig
from plant.assembly import Surroundings, plant_rates
from plant.finger.segment import SegmentState, segment_line


@pytest.fixture(scope="module")
def rig():
    return load_rig("wrist")


def test_a_steady_clamp_stays(rig):
    """Constant pressures of an operating point: light stays at the clamp's, to a millionth of full scale."""
    point = clamp(rig, 90.0, rig.tone.level)
    finger = LightBench(rig).candidate((), ())
    course = finger_course(finger, np.full(500, 90.0), np.full(500, float(point.state.cuff_mmHg)), 2e-3, 8)
    assert np.allclose(course, point.light, atol=1e-6)


def test_its_rates_are_the_plants(rig):
    """Away from rest, state by state, as `plant_rates` has them."""
    plant, finger = rig.plant, LightBench(rig).candidate((), ())
    whole = clamp(rig, 90.0, 0.0).state._replace(
        external_mmHg=70.0, segment=SegmentState(12.0, 0.3, 9.0), creep_area=0.4, venous_volume=0.6, photodiode=0.3)
    ours = FingerState(70.0, SegmentState(12.0, 0.3, 9.0), 0.4, 0.6, 0.3)
    theirs = plant_rates(plant, whole, Surroundings(85.0, 0.0, plant.light.ambient), 0.0)
    vessel = segment_line(plant.segment, plant.artery, 0.0)
    found = finger_rates(finger, vessel, ours, 85.0, float(whole.cuff_mmHg), 1.0)
    for name in FingerState._fields:
        assert np.allclose(getattr(found, name), getattr(theirs, name), rtol=1e-12), name


def test_the_dark_is_ambient_light(rig):
    finger = LightBench(rig).candidate(("light.transmission",), (1e-4,))
    course = finger_course(finger, np.full(50, 90.0), np.zeros(50), 2e-3, 8)
    assert np.allclose(course, rig.plant.light.ambient, atol=1e-4)


def test_a_phantom_is_one_lag(rig):
    """1 − e^{−t/τ} behind a step that is held."""
    drive = np.concatenate([np.zeros(5), np.ones(40)])
    found = phantom_course(rig.plant.light, drive, 1e-4)
    expected = 1.0 - np.exp(-2.0 * np.pi * rig.plant.light.bandwidth_Hz * 1e-4 * np.arange(40))
    assert np.allclose(found[5:], expected, atol=1e-12) and np.all(found[:5] == 0.0)
