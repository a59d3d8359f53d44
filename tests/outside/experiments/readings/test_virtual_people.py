"""What is claimed of readings on virtual people, on all of them: 300 who took no part in any choice, in nine states.

A minute of one core (`python -m pytest -m slow`; `python -m tests.studies.judged_people` prints all figures).
"""
import numpy as np
import pytest

from experiments.readings.arm.values import PRESSURES
from experiments.readings.fitted.fit import against_rest, tube_errors
from experiments.readings.output.estimators import SHAPE
from experiments.readings.people.judged import errors, percentage_error
from experiments.readings.people.population import CLAIMED_SEEDS
from tests.studies.judged_people import LZ, arm_errors, judged, log_errors, output_error, shares, wave_rms_mmHg


@pytest.mark.slow
def test_all_of_them() -> None:
    people = judged(CLAIMED_SEEDS)
    error = arm_errors(people)
    for k, most in zip(range(len(PRESSURES)), (3.0, 1.0, 1.0), strict=True):
        assert errors(error[:, k]).sd <= most and abs(errors(error[:, k]).mean) < 0.2
    assert errors(against_rest(people.cases, error[:, 0])).sd <= 1.6
    tube = tube_errors(people.cases)[:, 0]
    assert errors(tube).sd < 4.5 and errors(against_rest(people.cases, tube)).sd < 2.2
    assert wave_rms_mmHg(people) <= 2.4
    for name, absolute, change in ((LZ, 43.0, 14.5), (SHAPE, 30.0, 11.5)):
        off, moved = log_errors(people, name)
        assert output_error(people, off) <= absolute, name
        assert output_error(people, moved) <= change, name
    output = people.output_L_min
    assert percentage_error(np.full(len(output), np.mean(output)), output) > 60.0
    for name, (share, spread) in shares(people).items():
        assert np.all(np.abs(share - 0.9) <= 0.05 + 2.0 * spread), name  # a decade has fifty people, not 450
