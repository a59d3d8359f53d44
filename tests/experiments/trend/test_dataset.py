import numpy as np

from experiments.trend.dataset import trend_dataset
from tests.experiments.trend.one_study import one_study


def test_figures_courses_turns_and_failures():
    study = one_study()[0]
    data = trend_dataset(study, {"title": "t"})
    assert data["availability"].dims == ("scenario", "schedule")
    assert float(data["availability"].sel(schedule="steady")[0]) == study.rows[1].availability
    assert data["course_output_L_min"].shape == (1, 2, 7) and data["course_output_L_min"].attrs["units"] == "L/min"
    assert data["turns_error"].sizes == {"way": 3, "hour": 360}
    assert np.isinf(data["failure_warned"].sel(failure="height_wrong"))
    assert "failure_change" not in trend_dataset(study._replace(harms=[]), {})
