"""A raised hand as labelled data."""
import numpy as np

from calibrate.height import NotZeroed, Zero
from experiments.calibration.height.dataset import height_dataset
from experiments.calibration.height.study import HeightStudy


def test_ticks_and_beats(tmp_path):
    time, beats = np.arange(20) * 0.1, np.array([0.5, 1.5])
    study = HeightStudy(0.1, 0.1 * time, 0.2 * time, Zero(0.0, 1e-4, 1e-3), beats, beats + 90, beats + 80, beats + 89)
    data = height_dataset(study, {"rig": "wrist"})
    np.testing.assert_allclose(data["time_s"].values, time)
    np.testing.assert_array_equal(data["reading_mmHg"].values, study.reading_mmHg)
    assert data["height_m"].attrs["units"] == "m" and list(data["beat_s"].values) == [0.5, 1.5]
    data.to_netcdf(tmp_path / "a.nc", engine="scipy")


def test_a_sensor_that_was_not_zeroed_has_no_data():
    data = height_dataset(NotZeroed("moved", "it moved"), {"rig": "wrist"})
    assert not data.data_vars and data.attrs["not_zeroed"] == "it moved"
