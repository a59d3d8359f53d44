"""A budget as labelled data."""
import numpy as np

from experiments.design.budget.dataset import budget_dataset
from experiments.design.budget.sensitivity import budget
from experiments.design.budget.sobol import Indices, SpreadOut, Study
from experiments.rigs.rig import read_rig
from experiments.subjects.bands import usual_bands


def test_steps_derivatives_and_indices(tmp_path):
    found = budget(read_rig("wrist"), 90.0, usual_bands(1e-3))
    values = np.array([0.25])
    study = Study((SpreadOut("tube.length_m", "m", 0.1, 0.2),), {"phase_margin_deg": Indices(*[values] * 4)},
                  {"phase_margin_deg": values}, 0.0, 8)
    data = budget_dataset(found, study, {"rig": "wrist"})
    effect = next(e for e in found.effects if e.name == "timing.dead_time_s")
    at = data.sel(parameter="timing.dead_time_s")
    assert float(at["change_phase_margin_deg"]) == effect.effect.phase_margin_deg
    assert float(at["derivative_phase_margin_deg"]) == effect.slope.phase_margin_deg and str(at["unit"].values) == "s"
    assert data["change_phase_margin_deg"].attrs["units"] == "°"
    assert float(data["sobol_total_phase_margin_deg"][0]) == 0.25 and data.attrs["arterial_mmHg"] == "90.0"
    data.to_netcdf(tmp_path / "a.nc", engine="scipy")
    assert "spread" not in budget_dataset(found, None, {}).dims
