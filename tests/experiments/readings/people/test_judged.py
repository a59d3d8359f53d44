import numpy as np
import pytest

from experiments.readings.people.judged import coverage, errors, percentage_error


def test_errors_leave_out_what_is_not_there() -> None:
    found = errors(np.array([1.0, 3.0, np.nan]))
    assert found.mean == 2.0 and found.sd == pytest.approx(np.sqrt(2.0))


def test_percentage_error_by_hand() -> None:
    assert percentage_error(np.array([5.0, 6.0, 4.0]), np.array([5.0, 5.0, 5.0])) == pytest.approx(39.2)


def test_coverage_of_a_normal_error_is_90_percent_in_every_decade() -> None:
    random = np.random.default_rng(1)
    ages = random.uniform(20, 80, 60_000)
    sd = 1.0 + ages / 40.0
    found = coverage(sd * random.standard_normal(60_000), sd, ages, (20, 30, 40, 50, 60, 70, 80), 1.645)
    assert found == pytest.approx(np.full(6, 0.9), abs=0.015)
    assert np.isnan(coverage(np.ones(2), np.ones(2), np.array([25.0, 26.0]), (20, 30, 40), 1.0)[1])
