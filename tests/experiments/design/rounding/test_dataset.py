"""Word lengths as labelled data."""
import numpy as np

from experiments.design.rounding.dataset import rounding_dataset
from tests.experiments.design.rounding.helper import wrist


def test_labels_units_and_parts():
    data = rounding_dataset(wrist(), {})
    assert list(data["bits"].values) == [8, 12, 16, 24, 32] and set(data["side"].values) == {"fill", "vent"}
    assert all("units" in variable.attrs for variable in data.data_vars.values())
    parts = data["predicted_by_place_mmHg"]
    whole = np.sqrt((parts**2).sum("place")).max("side")
    assert np.all(whole.values <= data["predicted_mmHg"].values * (1 + 1e-9))
