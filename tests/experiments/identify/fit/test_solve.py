"""The solver on problems whose answers are known, and what it says of how well they are told."""
import numpy as np
import pytest

from experiments.identify.fit.solve import (
    Memory,
    covariance,
    gauss_newton,
    polished,
    several,
    solve,
    weakness,
)

TIME = np.linspace(0.0, 3.0, 200)
WIDE = (np.array([-20.0, -20.0]), np.array([20.0, 20.0]))


def decay(noise=0.0):
    """a exp(−b t), a 2 and b 1.5, in logarithms."""
    seen = 2.0 * np.exp(-1.5 * TIME) + noise * np.random.default_rng(1).standard_normal(200)

    def evaluate(x):
        a, b = np.exp(x)
        model = a * np.exp(-b * TIME)
        return model - seen, np.column_stack([model, -b * TIME * model])

    return evaluate


def test_a_decay_is_found_from_far():
    found = polished(decay(), solve(decay(), np.array([-3.0, 2.0]), WIDE), WIDE)
    assert np.allclose(np.exp(found.x), [2.0, 1.5], rtol=1e-10) and found.cost < 1e-20 and found.evaluations > 3


def test_bounds_are_kept():
    found = solve(decay(), np.array([0.0, 0.0]), (np.array([-1.0, -1.0]), np.array([0.1, 5.0])))
    assert found.x[0] <= 0.1 and np.isclose(found.x[0], 0.1, atol=1e-6)


def test_several_starts_stop_when_one_is_good_enough_or_two_agree():
    starts = [np.array([0.0, 0.0])] * 3
    assert len(several(decay(), starts, WIDE, 1e-9)) == 1
    assert len(several(decay(0.1), starts, WIDE, 1e-9)) == 2
    assert len(several(decay(0.1), starts[:1], WIDE, 1e-9)) == 1


def test_covariance_is_that_of_a_linear_fit():
    """As NumPy's own straight line has it."""
    jacobian = np.column_stack([np.ones(50), np.arange(50.0)])
    y = np.random.default_rng(3).standard_normal(50)
    _, expected = np.polyfit(np.arange(50.0), y, 1, cov="unscaled")
    assert np.allclose(covariance(jacobian), expected[::-1, ::-1])
    assert np.all(np.isinf(covariance(np.column_stack([np.ones(5), np.ones(5)]))))


def test_two_that_cannot_be_told_apart():
    """Their difference is the weakest direction, with equal and opposite shares."""
    one = np.random.default_rng(1).standard_normal(100)
    jacobian = np.column_stack([one, one + 1e-7 * np.random.default_rng(2).standard_normal(100), np.ones(100)])
    found = weakness(jacobian)
    assert found.condition > 1e6 and set(found.pair) == {0, 1} and found.correlation < -0.99
    assert abs(found.direction[0] + found.direction[1]) < 1e-3 and abs(found.direction[2]) < 1e-3
    assert weakness(np.column_stack([one, one])).condition > 1e12


def test_the_same_place_is_worked_out_once():
    memory = Memory(decay())
    memory.at(np.zeros(2))
    memory.at(np.zeros(2))
    memory.at(np.ones(2))
    assert memory.asked == 2


def test_a_step_of_a_linear_problem_ends_it():
    jacobian = np.column_stack([np.ones(20), np.arange(20.0)])
    residuals = jacobian @ np.array([3.0, -2.0])
    assert gauss_newton(residuals, jacobian) == pytest.approx([-3.0, 2.0])
    assert np.array_equal(gauss_newton(np.ones(5), np.zeros((5, 2))), np.zeros(2))
