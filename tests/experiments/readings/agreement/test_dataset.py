import numpy as np

from experiments.readings.agreement.dataset import agree_dataset
from experiments.readings.agreement.pairs import pairs_of
from experiments.readings.agreement.study import Question, of_pairs


def test_units_and_figures() -> None:
    values = np.arange(12.0)
    found = of_pairs(pairs_of(np.arange(12) // 3, values + 1.0, values), Question("L/min"))
    data = agree_dataset(found, {"provenance": "{}"})
    assert data["tested"].attrs["units"] == "L/min" and data.sizes["pair"] == 12
    assert float(data["changing_bias"]) == 1.0 and all("units" in v.attrs for v in data.variables.values())
