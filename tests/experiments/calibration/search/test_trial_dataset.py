"""One search as labelled data."""
import json

import numpy as np

from experiments.calibration.search.trial_dataset import trial_dataset
from experiments.calibration.search.trial_text import search_json
from experiments.simulation.session import COLUMN


def test_every_tick_and_the_figures(trials, tmp_path):
    trial = trials["arctangent"]
    data = trial_dataset(trial, search_json(trial))
    np.testing.assert_array_equal(data["cuff_mmHg"].values, trial.session.rows[:, COLUMN["cuff_mmHg"]])
    assert data["cuff_mmHg"].attrs["units"] == "mmHg" and data.attrs["strategy"] == "arctangent"
    assert float(data["highest_mmHg"]) == trial.calibration.highest_mmHg
    assert float(data["time_s"][1]) == trial.period_s and json.loads(data.attrs["about"])["found"] is True
    data.to_netcdf(tmp_path / "a.nc", engine="scipy")
