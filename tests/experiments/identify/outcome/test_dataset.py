"""Labelled data with units."""
import numpy as np

from experiments.identify.outcome.dataset import account_dataset
from tests.experiments.identify.outcome.accounts import account


def test_numbers_and_courses():
    data = account_dataset(account(), {"a": "b"})
    assert data.sizes["number"] == len(account().found.found) + 1 and data.sizes["course"] == 2
    spread = np.sqrt(float(data["covariance"].sel(number="cuff.volume_mL", other="cuff.volume_mL")))
    assert np.isclose(spread, 0.02) and data.attrs == {"a": "b"} and data["told"].sum() == len(account().found.found)
    assert all("units" in variable.attrs for variable in data.data_vars.values())
