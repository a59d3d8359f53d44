import numpy as np
import pytest

from experiments.readings.fitted.fit import (
    against_rest,
    beats_at,
    fit_constants,
    fit_law,
    one_beat,
    within_people,
)
from experiments.readings.output.estimators import SHAPE
from tests.experiments.readings.steady_cases import some_cases

CASES = list(some_cases())


def test_a_steady_beat_has_its_marks() -> None:
    one = CASES[0]
    marks = one_beat(one.finger_mmHg, one.interval_s)
    assert marks.systolic_mmHg == pytest.approx(np.max(one.finger_mmHg), abs=0.2)
    assert marks.interval_s == pytest.approx(one.interval_s, abs=2e-3)
    assert marks.mean_mmHg == pytest.approx(np.mean(one.finger_mmHg), abs=0.2)


def test_errors_against_rest_and_within_people() -> None:
    left = against_rest(CASES, np.arange(54.0))
    assert np.isnan(left[::9]).all() and left[1] == 1.0 and left[10] == 1.0
    assert within_people(CASES, np.arange(54.0)).reshape(6, 9).sum(axis=1) == pytest.approx(0.0)
    assert within_people(CASES, np.ones((54, 2))).max() == 0.0


def test_constants_are_better_than_a_constant_where_they_were_fitted() -> None:
    found = fit_constants(CASES)
    truth = np.log([one.stroke_mL for one in CASES])
    assert np.mean(found.laws["Liljestrand–Zander"].absolute_sd) < np.std(truth)
    assert np.mean(found.laws["Liljestrand–Zander"].change_sd) < np.mean(found.laws["Windkessel"].change_sd)
    assert len(found.laws[SHAPE].change_shape) == 20 and found.laws[SHAPE].usual.shape == (2, 10)
    beats = beats_at([one.finger_mmHg for one in CASES], CASES)
    assert fit_law("Herd", beats, CASES).build == pytest.approx(found.laws["Herd"].build)
