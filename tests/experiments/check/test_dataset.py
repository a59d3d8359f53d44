"""A check as labelled data."""
import json

import numpy as np

from experiments.check.check import judge_loops, margin_figures, worst_of
from experiments.check.dataset import MARGINS, check_dataset, figures_of, margins_dataset, unit_of
from experiments.check.text import check_json


def test_margins_lie_along_their_operating_points(wrist):
    loops = judge_loops(wrist, {"low": 70.0, "high": 120.0})
    data = margins_dataset(loops, [], {"rig": "wrist"})
    assert list(data["operating_point"].values) == [j.name for j in loops] and data.attrs["rig"] == "wrist"
    for name, (unit, _) in MARGINS.items():
        assert data[name].attrs["units"] == unit
        np.testing.assert_array_equal(data[name].values, [float(getattr(j.margins, name)) for j in loops])
    assert list(data["at_mmHg"].values) == [70.0, 70.0, 120.0, 120.0]
    assert float(data["phase_margin_deg"].min()) == worst_of(loops).margins.phase_margin_deg or len(loops) == 4


def test_a_check_holds_ticks_margins_and_figures(checked, tmp_path):
    """Also after a round through NetCDF."""
    data = check_dataset(checked, check_json(checked))
    assert data.sizes["time_s"] == 14_000 and data["cuff_mmHg"].attrs["units"] == "mmHg"
    assert float(data["worst_phase_margin_deg"]) == margin_figures(checked.loops)["phase_margin_deg"]
    assert float(data["highest_cuff_mmHg"]) == float(data["cuff_mmHg"].max())
    data.to_netcdf(tmp_path / "a.nc", engine="scipy")
    assert json.loads(data.attrs["about"])["rig"] == "wrist"


def test_every_figure_has_a_unit(checked):
    figures = figures_of(checked)
    assert figures["rms_error_mmHg"] == checked.tracking.ideal.rms_mmHg and unit_of("rms_error_mmHg") == "mmHg"
    assert unit_of("beat_systolic_error_mmHg.sd") == "mmHg" and unit_of("modulus_margin") == "1"
    assert all(isinstance(value, float) for value in figures.values())
