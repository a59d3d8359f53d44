import numpy as np
import pytest

from calibrate.height import HeightSensor, NotZeroed, Zeroing
from experiments.calibration.height.study import HeightStudy, study_height
from plant.errors import InputError
from plant.pressure.events import HandRaised
from plant.pressure.synthetic import SyntheticPressure
from plant.units import hydrostatic_mmHg

STORY = (HandRaised(0.2, 15.0, 0.1, 8.0),)


@pytest.fixture(scope="module")
def study(wrist):
    return study_height(wrist, HeightSensor(), SyntheticPressure(), 1, story=STORY, seconds=30.0)


def during(study, first, last):
    return (study.beat_s > first) & (study.beat_s < last)


def test_a_raised_hand_reads_low_and_is_put_right(study):
    assert isinstance(study, HeightStudy)
    up = during(study, 18, 24)
    raw, left = study.reading_mmHg - study.heart_mmHg, study.corrected_mmHg - study.heart_mmHg
    assert raw[up] == pytest.approx(-hydrostatic_mmHg(0.2), abs=1.0)
    assert np.all(np.abs(left[up]) < 1.0) and np.all(np.abs(left[during(study, 10, 14)]) < 0.6)
    assert raw[during(study, 10, 14)] == pytest.approx(left[during(study, 10, 14)], abs=0.2)  # at rest nothing to add


def test_height_is_the_one_that_moved_the_pressure(study):
    assert np.max(study.height_m) == pytest.approx(0.2) and study.height_m[0] == study.height_m[-1] == 0.0
    assert study.sensed_m[20_000:22_000].mean() == pytest.approx(0.202, abs=0.001)
    assert study.zero.height_m == pytest.approx(0.03, abs=0.001)


def test_same_seed_same_bits(study, wrist):
    again = study_height(wrist, HeightSensor(), SyntheticPressure(), 1, story=STORY, seconds=30.0)
    assert all(np.array_equal(a, b) for a, b in zip(study, again, strict=True))


def test_a_zero_that_is_refused_is_handed_on(wrist):
    moving = (HandRaised(0.2, 8.0, 0.1, 0.0),)
    refused = study_height(wrist, HeightSensor(), SyntheticPressure(), 1, story=moving, seconds=16.0)
    assert isinstance(refused, NotZeroed) and refused.reason == "moved"
    short = study_height(wrist, HeightSensor(), SyntheticPressure(), 1, Zeroing(average_s=20.0), STORY, 16.0)
    assert isinstance(short, NotZeroed) and short.reason == "too short"


def test_a_move_out_of_bounds(wrist):
    with pytest.raises(InputError, match="height_m = 3 m"):
        study_height(wrist, HeightSensor(), SyntheticPressure(), 1, story=(HandRaised(3.0),), seconds=16.0)


def test_a_clamp_that_fails_is_told(wrist):
    weak = wrist._replace(controller=wrist.controller._replace(output_high=wrist.controller.output_low + 1e-3))
    with pytest.raises(InputError, match="rig wrist"):
        study_height(weak, HeightSensor(), SyntheticPressure(), 1, story=STORY, seconds=16.0)
