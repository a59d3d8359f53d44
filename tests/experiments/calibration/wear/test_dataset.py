"""A plan of wear as labelled data."""
from calibrate.wear import WearPlan, wear_account
from experiments.calibration.wear.dataset import wear_dataset


def test_what_each_finger_bears(tmp_path):
    accounts = wear_account(WearPlan(12.0, 2, 60.0, 0.0), 90.0)
    data = wear_dataset(accounts, {"about": "x"})
    assert list(data["finger"].values) == [1, 2] and list(data["load_mmHg_h"].values) == [540.0, 540.0]
    assert data["longest_h"].attrs["units"] == "h" and float(data["longest_h"][0]) == 1.0
    data.to_netcdf(tmp_path / "a.nc", engine="scipy")
