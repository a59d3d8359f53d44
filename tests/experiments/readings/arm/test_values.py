import numpy as np
import pytest

from experiments.readings.arm.values import FEATURES, arm_features, arm_values, finger_values
from experiments.readings.fitted.fit import beats_at, feature_rows, truth_values
from experiments.readings.fitted.store import shipped
from experiments.readings.people.wearer import Wearer
from tests.experiments.readings.steady_cases import some_cases


def test_a_law_of_nothing_leaves_the_fingers_values() -> None:
    cases = list(some_cases())[:4]
    beats = beats_at([one.finger_mmHg for one in cases], cases)
    none = np.zeros((3, len(FEATURES)))
    assert np.array_equal(arm_values(none, Wearer(), beats), finger_values(beats))
    assert arm_features(Wearer(), beats).shape == (4, len(FEATURES))


def test_the_shipped_law_on_people_who_were_not_fitted_on() -> None:
    """Over 2,700 states: systolic 0.0 ± 2.7, mean 0.0 ± 0.4, diastolic 0.0 ± 0.4 mmHg; here on 54 of them."""
    cases = list(some_cases())
    beats = beats_at([one.finger_mmHg for one in cases], cases)
    error = finger_values(beats) + feature_rows(beats, cases) @ shipped().arm.T - truth_values(cases)
    assert np.all(np.abs(np.mean(error, axis=0)) < [4.0, 0.6, 0.6])
    assert np.all(np.std(error, axis=0) < [3.5, 0.7, 0.7])
    assert np.std(error[:, 0]) == pytest.approx(2.5, abs=1.2)
