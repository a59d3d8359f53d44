from experiments.readings.chain.dataset import readings_dataset
from tests.experiments.readings.chain.one_reading import one_reading


def test_beats_readings_and_units() -> None:
    data = readings_dataset(*one_reading(), {"provenance": "{}"})
    assert data.sizes["beat"] == len(one_reading()[0].beats.onset_s) and "true_stroke_mL" in data
    assert data["stroke_mL"].attrs["units"] == "mL"
    assert float(data["low"].sel(reading="output")) < float(data["high"].sel(reading="output"))
    assert "true_stroke_mL" not in readings_dataset(one_reading()[0], None, {})
