"""A study as labelled data."""
import json

import numpy as np
import pytest

from experiments.calibration.search.dataset import OUTCOMES, study_dataset
from experiments.calibration.search.study import Plan, run_study
from experiments.calibration.search.text import study_json

PLAN = Plan("wrist", (), ("classroom", "arctangent"), "mixed", 1, 5, 1, 5)


@pytest.fixture(scope="module")
def study():
    return run_study(PLAN)


def test_the_data_set_holds_every_row(study, tmp_path):
    """Labelled, with units and provenance, and the same after a round through NetCDF."""
    import xarray

    document = study_json(study)
    study_dataset(study, document).to_netcdf(tmp_path / "a.nc", engine="scipy")
    with xarray.open_dataset(tmp_path / "a.nc") as found:
        assert dict(found.sizes) == {"strategy": 2, "finger": 8}
        for row in study.rows:
            at = found.sel(strategy=row.strategy, finger=row.finger)
            np.testing.assert_equal(float(at.error_mmHg), row.error_mmHg)
            np.testing.assert_equal(float(at.middle_crossover_Hz), row.middle_crossover_Hz)
            assert OUTCOMES[int(at.outcome)] == row.outcome and bool(at.stable) == row.stable
            assert str(at.defect.values) == row.defect
        assert all("units" in v.attrs for name, v in found.data_vars.items() if name != "outcome")
        assert found.error_mmHg.attrs["units"] == "mmHg"
        assert found.outcome.attrs["flag_meanings"].split()[0] == "found"
        assert json.loads(found.attrs["about"])["plan"]["group"] == "mixed"
