"""A tuning as labelled data."""
from experiments.design.tune.dataset import tuning_dataset
from experiments.design.tune.text import worst_margin


def test_settings_fingers_and_trade_off(tuning, tmp_path):
    data = tuning_dataset(tuning, {"rig": "wrist"})
    assert str(data["setting"][0].values) == tuning.tuned.name and data.sizes["finger"] == 8
    assert float(data["rms_mmHg"][0]) == tuning.tuned.rms_mmHg and bool(data["keeps_limits"][0]) == tuning.tuned.kept
    for name in tuning.tuned.found.margins:
        assert float(data[name][1]) == worst_margin(tuning, tuning.shipped, name) and data[name].attrs["units"]
    assert list(data["largest_peak"].values) == [point.largest_peak for point in tuning.trade_off]
    data.to_netcdf(tmp_path / "a.nc", engine="scipy")
