"""Every run as CSV and as labelled data."""
import csv

import numpy as np
import pytest
import xarray

from experiments.safety.faults.dataset import study_dataset, write_runs_csv
from tests.experiments.safety.faults.made_study import made_study


@pytest.fixture
def study():
    return made_study()


def test_files_hold_every_run(study, tmp_path):
    write_runs_csv(tmp_path / "a.csv", study)
    with (tmp_path / "a.csv").open(encoding="utf-8", newline="") as file:
        read = list(csv.DictReader(file))
    assert len(read) == len(study.rows) and read[2]["protection_lost"] == "relief" and read[2]["breaks"] == "pressure"
    assert float(read[1]["highest_mmHg [mmHg]"]) == 210.0 and read[4]["detected_s [s]"] == ""
    study_dataset(study, {"rig": "wrist"}).to_netcdf(tmp_path / "a.nc", engine="scipy")
    with xarray.open_dataset(tmp_path / "a.nc") as data:
        assert np.array_equal(data["highest_mmHg"].values, study.column("highest_mmHg"))
        assert data["below_15_s"].attrs["units"] == "s" and data.attrs["rig"] == "wrist"
        assert list(data["breaks_pressure"].values) == [0, 0, 1, 0, 0, 0, 0, 0]
