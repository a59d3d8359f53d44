import numpy as np
import pytest

from experiments.readings.chain.by_cuff import CuffReading, by_cuff, cuff_reading, cuff_text
from experiments.readings.chain.chain import readings
from plant.errors import InputError
from tests.experiments.readings.chain.one_reading import PERIOD_s, known, one_reading, record

NONE = np.zeros(len(record().finger_mmHg), np.uint8)


def test_what_a_cuff_says_moves_the_estimate_and_narrows_it() -> None:
    free, truth = one_reading()
    high = CuffReading(20.0, truth.values["systolic"] + 10.0, truth.values["diastolic"] + 10.0)
    told = readings(record().finger_mmHg - 5.0, PERIOD_s, NONE, known()._replace(cuff=(high,)))
    moved = {name: told.summary[name].value - free.summary[name].value for name in ("systolic", "diastolic")}
    assert 6.0 < moved["systolic"] < 14.0 and 6.0 < moved["diastolic"] < 14.0
    assert told.summary["systolic"].sd < 0.5 * free.summary["systolic"].sd
    assert told.summary["mean"].sd < 0.5 * free.summary["mean"].sd
    assert told.summary["finger systolic"].value == free.summary["finger systolic"].value
    assert told.summary["output"].sd < free.summary["output"].sd
    assert told.summary["output"].value < free.summary["output"].value  # the same pulse at a higher level
    assert {line.name for line in told.level.lines} >= {"cuff reference"} and told.level.sd_mmHg < 4.0
    wave = told.arm_wave_mmHg - free.arm_wave_mmHg
    assert 6.0 < np.median(wave) < 14.0


def test_several_are_surer_than_one_and_the_truth_is_held() -> None:
    _, truth = one_reading()
    pair = truth.values["systolic"], truth.values["diastolic"]
    some = [tuple(CuffReading(12.0 + 12.0 * k, *pair) for k in range(count)) for count in (1, 3)]
    one, three = (readings(record().finger_mmHg - 5.0, PERIOD_s, NONE, known()._replace(cuff=c)) for c in some)
    assert three.summary["systolic"].sd < one.summary["systolic"].sd
    for name in ("systolic", "mean", "diastolic"):
        assert three.summary[name].holds(truth.values[name])
        assert three.summary[name].value == pytest.approx(truth.values[name], abs=1.5)


def test_a_reading_away_from_all_beats_is_refused() -> None:
    found, _ = one_reading()
    with pytest.raises(InputError, match="--cuff 500:120/80: no beat within"):
        by_cuff((CuffReading(500.0, 120.0, 80.0),), found.beats, found.arm_mmHg)


@pytest.mark.parametrize("text", ["20", "20:118", "20:a/76", "-1:118/76", "20:70/118", "20:400/76", "nan:118/76"])
def test_what_is_no_reading_is_refused(text) -> None:
    with pytest.raises(InputError, match=f"--cuff {text}"):
        cuff_reading(text)


def test_a_reading_and_its_text() -> None:
    one = cuff_reading("20:118/76")
    assert one == CuffReading(20.0, 118.0, 76.0) and cuff_text(one) == "20:118/76"
