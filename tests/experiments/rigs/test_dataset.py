"""A rig's parameters as labelled data."""
from experiments.rigs.dataset import rig_dataset
from experiments.rigs.rig import load_rig


def test_value_bounds_and_unit(tmp_path):
    data = rig_dataset(load_rig("wrist", ["tube.length_m=0.2"]), {"rig": "wrist"})
    row = data.sel(parameter="tube.length_m")
    assert float(row["value"]) == 0.2 and str(row["unit"].values) == "m"
    assert float(row["low"]) < 0.2 < float(row["high"])
    assert "controller.kp" in data["parameter"].values and "valve.kind" not in data["parameter"].values
    data.to_netcdf(tmp_path / "a.nc", engine="scipy")
