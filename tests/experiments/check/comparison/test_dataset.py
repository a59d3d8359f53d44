"""Rigs side by side as labelled data."""
import numpy as np

from experiments.check.comparison.dataset import comparison_dataset
from experiments.check.dataset import figures_of
from tests.experiments.check.comparison.comparison_bench import compared


def test_every_figure_over_rigs(checked, tmp_path):
    found = compared(checked)
    data = comparison_dataset(found, {"about": "x"})
    assert data.sizes["rig"] == 2 and list(data["passed"].values) == [check.passed for check in found.checks]
    for name, value in figures_of(found.checks[1]).items():
        np.testing.assert_equal(float(data[name][1]), value)
        assert data[name].attrs["units"]
    budget = {row.part: row.phase_deg for row in found.checks[0].budget}
    assert float(data["phase_deg"].sel(part="dead time")[0]) == budget["dead time"]
    data.to_netcdf(tmp_path / "a.nc", engine="scipy")
