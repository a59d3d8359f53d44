from experiments.readings.limits.dataset import require_dataset
from tests.experiments.readings.limits.required import one_answer


def test_dimensions_and_units() -> None:
    data = require_dataset(one_answer(), {"provenance": "{}"})
    assert data.sizes["limited"] == 3 and data.sizes["reading"] == 5
    assert data["bandwidth_Hz"].attrs["units"] == "Hz" and str(data["unit"].values[0]) == "mmHg"
