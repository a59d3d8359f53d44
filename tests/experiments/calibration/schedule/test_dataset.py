"""The labelled data of a comparison: what each number is and its unit travel with it into the file and back."""
import json
from dataclasses import replace

import numpy as np
import pytest
import xarray

from experiments.calibration.schedule.dataset import study_dataset, write_dataset
from experiments.calibration.schedule.measures import METRIC, METRICS
from experiments.calibration.schedule.study import about

DOCUMENT = {"provenance": {"command": "cuffloop schedules", "seed": 1}, "caution": "not a medical device"}


@pytest.fixture(scope="module")
def data(comparison, tmp_path_factory):
    path = tmp_path_factory.mktemp("data") / "schedules.nc"
    write_dataset(path, comparison, DOCUMENT)
    with xarray.open_dataset(path, engine="scipy") as opened:
        return opened.load()


def test_dimensions_are_labelled(data):
    assert dict(data.sizes) | {"failure": 0} == {"schedule": 3, "scenario": 2, "finger": 2, "time": 24, "failure": 0}
    assert list(data.schedule.values.astype(str)) == ["never", "growing", "steady"]
    assert list(data.scenario.values.astype(str)) == ["quiet", "cold"]
    assert list(data.finger.values.astype(str)) == ["mixed-1-0000", "mixed-1-0001"]
    assert data.time.attrs["units"] == "s" and data.time.values[0] == 2.5


def test_every_figure_has_its_unit_and_its_meaning(data, comparison):
    figures = comparison.figures()
    for metric in METRICS:
        assert data[metric.name].dims == ("schedule", "scenario", "finger")
        assert data[metric.name].attrs == {"units": metric.unit, "long_name": metric.meaning}
        np.testing.assert_array_equal(data[metric.name].values, figures[..., METRIC[metric.name]])
    one = data.lost_share.sel(schedule="growing", scenario="cold", finger="mixed-1-0001")
    assert float(one) == comparison.run(1, 1, 1).figures[METRIC["lost_share"]]


def test_time_courses(data, comparison):
    assert data.error.dims == ("schedule", "scenario", "finger", "time") and data.error.attrs["units"] == "mmHg"
    np.testing.assert_array_equal(data.error.values[2, 0, 1], comparison.run(2, 0, 1).course[0])
    np.testing.assert_array_equal(data.shown.values[1, 1, 0], comparison.run(1, 1, 0).course[1])
    np.testing.assert_array_equal(data.tone.sel(scenario="cold").values[1], comparison.run(0, 1, 1).course[2])


def test_where_it_comes_from(data, comparison):
    assert json.loads(data.attrs["provenance"]) == DOCUMENT["provenance"]
    assert json.loads(data.attrs["settings"]) == about(comparison.plan)
    assert data.attrs["caution"] == "not a medical device" and data.attrs["rig"] == "wrist"


def test_failures_by_name_and_early_ends(comparison):
    runs = {k: list(v) for k, v in comparison.runs.items()}
    runs[1, 0][2] = runs[1, 0][2]._replace(
        ended="gave up: no pulse", failures={"no pulse": 3, "gave up": 1}, course=runs[1, 0][2].course[:, :7])
    data = study_dataset(replace(comparison, steps=2, runs=runs), DOCUMENT)
    where = {"schedule": "steady", "scenario": "cold", "finger": "mixed-1-0000"}
    assert int(data.failure_count.sel(failure="no pulse", **where)) == 3
    assert int(data.failure_count.sum()) >= 4 and data.failure_count.dtype == np.int32
    assert str(data.ended.sel(**where).values) == "gave up: no pulse"
    assert np.all(np.isnan(data.error.sel(**where).values[7:]))
