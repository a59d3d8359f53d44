"""`cuffloop.readings` from Python."""
import numpy as np
import pytest

import cuffloop
from experiments.front.readings.readings import known_of, servo_of
from experiments.readings.servo.rig_servo import rig_servo
from experiments.rigs.rig import load_rig
from plant.finger.artery import unloaded_pressure
from tests.experiments.front.front_bench import doctests_of, is_whole


def test_the_result(tmp_path):
    result = cuffloop.readings("cabinet", "person:60m,height_cm=180", seconds=16)
    is_whole(result, {"chain"}, tmp_path / "out", {"readings.json", "chain.png", "beats.csv", "readings.nc"})
    assert result.truth is not None and result.found.known.wearer.height_cm == 180
    assert result.found.summary["output"].holds(result.truth.values["output"])


def test_other_records_have_no_truth_and_take_a_wearer():
    options = cuffloop.ReadingOptions(age_years=30, sex="f", ventilated=True, tidal_mL_kg=8)
    result = cuffloop.readings("wrist", "synthetic", seconds=16, options=options)
    assert result.truth is None and result.found.known.wearer.female == 1.0
    assert np.all(np.isfinite(result.found.arm_mmHg))


@pytest.mark.parametrize(("options", "words"), [
    ({"age_years": 5}, "age 5 must be from 18 to 95"), ({"sex": "x"}, "sex x"), ({"venous_mmHg": 90}, "venous"),
    ({"cuff": ((1.0, 70.0, 120.0),)}, "cuff 1:70/120"), ({"arm": "leg"}, "arm leg"),
    ({"estimator": "best"}, "estimator best"), ({"reference_mL": 1}, "reference 1"),
])
def test_what_is_told_is_bounded(options, words):
    with pytest.raises(cuffloop.InputError, match=words):
        cuffloop.readings("wrist", "synthetic", seconds=12, options=cuffloop.ReadingOptions(**options))


def test_a_cuff_reading_is_taken_up():
    options = cuffloop.ReadingOptions(cuff=((10.0, 130.0, 85.0),))
    result = cuffloop.readings("wrist", "person:45f", seconds=16, options=options)
    assert "1 cuff reading: shift +" in str(result) and result.document()["cuff_readings"] == 1
    assert result.found.summary["systolic"].parts[0].name == "cuff reference"


def test_the_servo_of_a_rig_is_part_of_the_interval():
    rig = load_rig("wrist")
    servo = servo_of(rig_servo(rig, 90.0))
    assert 0.5 < servo.systolic_mmHg < 3.0 and servo.mean_mmHg < 0.01 and 0.002 < servo.output < 0.03
    unloaded = unloaded_pressure(rig.plant.artery, rig.tone.level)
    assert known_of(rig, cuffloop.ReadingOptions(), "", 90.0 - unloaded).servo == servo


def test_examples():
    doctests_of("readings.readings")
