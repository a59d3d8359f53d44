"""Virtual fingers as labelled data."""
from experiments.subjects.dataset import fingers_dataset
from experiments.subjects.population import sample_fingers
from experiments.subjects.table import headings


def test_a_variable_for_every_parameter(tmp_path):
    people = sample_fingers(3, "old", 2)
    data = fingers_dataset(people, {"about": "x"})
    assert list(data["finger"].values) == [finger.name for finger in people]
    assert set(data.data_vars) == {name for name in headings() if name != "name"}
    assert float(data["artery.half_width_mmHg"][1]) == people[1].artery.half_width_mmHg
    assert data["artery.half_width_mmHg"].attrs["units"] == "mmHg"
    data.to_netcdf(tmp_path / "a.nc", engine="scipy")
