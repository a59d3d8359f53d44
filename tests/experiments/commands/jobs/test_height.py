"""`cuffloop height`, from arguments to exit status, lines and files."""
import json

import pytest

from experiments.commands.jobs.height import HeightOptions, height_job, sensor_from
from plant.errors import InputError
from plant.units import hydrostatic_mmHg


def test_a_raised_hand_reads_low_by_its_column(tmp_path, capsys):
    """10 cm and 40 cm: the weight of the blood, −7.8 and −31 mmHg, as read; about nothing once corrected."""
    assert height_job(HeightOptions(out=tmp_path)) == 0
    said = capsys.readouterr().out
    document = json.loads((tmp_path / "height.json").read_text())
    low, high = document["holds"]
    assert (low["height_m"], high["height_m"]) == (0.1, 0.4)
    assert low["as_read_mmHg"] == pytest.approx(-hydrostatic_mmHg(0.1), abs=0.5)
    assert high["as_read_mmHg"] == pytest.approx(-hydrostatic_mmHg(0.4), abs=1.5)
    assert abs(low["corrected_mmHg"]) < 0.6 and abs(high["corrected_mmHg"]) < 1.6
    assert "40 cm" in said and "−31.04" in said and (tmp_path / "height.png").stat().st_size > 20_000


def test_a_sensor_off_its_place_is_not_zeroed(tmp_path, capsys):
    assert height_job(HeightOptions(sensor=["offset_m=0.45"], out=tmp_path, as_json=True)) == 1
    document = json.loads(capsys.readouterr().out)
    assert document["zeroed"] is False and "45 cm" in document["why"]
    assert not (tmp_path / "height.png").exists()


def test_sensor_settings():
    assert sensor_from(None) == {}
    assert sensor_from(["lag_s=2", "gain = 0.9"]) == {"lag_s": 2.0, "gain": 0.9}


@pytest.mark.parametrize(("change", "words"), [
    ("lag_s", "must read KEY=NUMBER"), ("lag_s=soon", "must read KEY=NUMBER"), ("gain=3", "from 0.8 to 1.2"),
    ("gain=nan", "sensor.gain"), ("colour=1", "not a key"),
])
def test_bad_sensors_are_refused(change, words):
    with pytest.raises(InputError, match=words):
        height_job(HeightOptions(sensor=[change]))
