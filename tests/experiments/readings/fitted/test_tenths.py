import numpy as np
import pytest

from experiments.readings.fitted.tenths import (
    SHARES,
    best_share,
    held_out,
    least_squares,
    ridge,
    spread_by_decade,
    tenths,
)

RANDOM = np.random.default_rng(5)
PEOPLE = np.repeat(np.arange(60) + 500, 4)
ROWS = np.column_stack([np.ones(240), RANDOM.standard_normal((240, 3))])
TRUTH = np.array([2.0, 1.0, -3.0, 0.5])


def test_people_are_kept_together() -> None:
    group = tenths(PEOPLE)
    assert set(group) == set(range(10)) and np.ptp(group.reshape(60, 4), axis=1).max() == 0


def test_nobody_is_predicted_by_himself() -> None:
    """Somebody whose values are far off is not followed, and what is a law is."""
    values = ROWS @ TRUTH
    assert held_out(PEOPLE, ROWS, values, least_squares) == pytest.approx(values)
    off = np.where(PEOPLE == 500, values + 1e3, values)
    own = np.column_stack([ROWS, PEOPLE == 500]).astype(float)
    assert held_out(PEOPLE, own, off, least_squares) == pytest.approx(values)  # what marks him was seen in nobody else
    asked = np.column_stack([2.0 * ROWS[:, :1], ROWS[:, 1:]])
    assert held_out(PEOPLE, ROWS, values, least_squares, asked) == pytest.approx(values + TRUTH[0])


def test_ridge_leaves_the_mean_and_shrinks_the_rest() -> None:
    values = ROWS @ TRUTH
    assert ridge(ROWS, values, 1e-9) == pytest.approx(TRUTH, rel=1e-6)
    strong = ridge(ROWS, values, 10.0)
    assert np.mean(ROWS @ strong) == pytest.approx(np.mean(values)) and np.abs(strong[1:]).max() < 0.5


def test_the_ridge_goes_by_what_there_is_to_find() -> None:
    noise = RANDOM.standard_normal(240)
    assert best_share(PEOPLE, ROWS, ROWS @ TRUTH + 1e-6 * noise) == SHARES[0]
    assert best_share(PEOPLE, ROWS, noise) == SHARES[-1]


def test_spread_holds_nine_in_ten_near_every_decade() -> None:
    ages = np.random.default_rng(1).uniform(20, 80, 2500)
    found = spread_by_decade((1 + ages / 80) * np.random.default_rng(2).standard_normal(2500), ages)
    assert np.all(np.diff(found) > 0) and found[2] == pytest.approx(1 + 45 / 80, rel=0.08)
    assert spread_by_decade(np.full(9, -2.0), np.linspace(20, 80, 9)) == pytest.approx(np.full(6, 2 / 1.6448536))
    steep = spread_by_decade((ages - 20.0) * np.random.default_rng(3).standard_normal(2500), ages)
    assert np.all(steep > 0.2 * np.mean(steep))
