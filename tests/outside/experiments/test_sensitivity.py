"""Sensitivities against mathematics: published Sobol indices of the Ishigami function, SciPy's own, and a phase law."""
import math

import numpy as np
import pytest

pytest.importorskip("SALib")

from SALib.test_functions import Ishigami
from scipy.stats import sobol_indices as scipy_indices
from scipy.stats import uniform

from experiments.design.budget.sensitivity import budget
from experiments.design.budget.sobol import SpreadOut, sample, sobol_indices
from experiments.rigs.rig import read_rig
from experiments.subjects.bands import usual_bands

CUBE = [SpreadOut(name, "1", -math.pi, math.pi) for name in ("x1", "x2", "x3")]


def analytic(a=7.0, b=0.1):
    """Ishigami & Homma 1990: variances in closed form [computed].

    First-order values 0.3139, 0.4424, 0.0 as quoted from Saltelli et al. 2008, Global Sensitivity Analysis: The
    Primer, in the documentation of SALib [seen second-hand].
    """
    first = 0.5 * (1.0 + b * math.pi**4 / 5.0) ** 2
    second, both = a**2 / 8.0, b**2 * math.pi**8 * (1.0 / 18.0 - 1.0 / 50.0)
    total = first + second + both
    return np.array([first, second, 0.0]) / total, np.array([first + both, second, both]) / total


def test_the_closed_form_is_the_published_one():
    first, total = analytic()
    np.testing.assert_allclose(first, [0.3139, 0.4424, 0.0], atol=5e-5)
    np.testing.assert_allclose(total, [0.5576, 0.4424, 0.2437], atol=5e-5)  # [memory, high]


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_ishigami_through_our_own_wrapper(seed):
    """Within a few times the interval that the wrapper states, and within 0.03."""
    found = sobol_indices(CUBE, Ishigami.evaluate(sample(CUBE, 2048, seed)), seed)
    first, total = analytic()
    for values, interval, expected in ((found.first, found.first_interval, first),
                                       (found.total, found.total_interval, total)):
        assert np.all(np.abs(values - expected) < np.maximum(2.0 * interval, 0.005))
        np.testing.assert_allclose(values, expected, atol=0.03)


def test_another_library_says_the_same():
    """scipy.stats.sobol_indices on the same function, with points of its own."""
    other = scipy_indices(func=lambda x: Ishigami.evaluate(x.T), n=4096, rng=np.random.default_rng(3),
                          dists=[uniform(-math.pi, 2.0 * math.pi)] * 3)
    found = sobol_indices(CUBE, Ishigami.evaluate(sample(CUBE, 4096, 1)), 1)
    np.testing.assert_allclose(found.first, other.first_order, atol=0.03)
    np.testing.assert_allclose(found.total, other.total_order, atol=0.03)


@pytest.fixture(scope="module")
def budgets():
    return {name: budget(read_rig(name), 90.0, usual_bands(1e-3)) for name in ("wrist", "cabinet")}


@pytest.mark.parametrize(("name", "tolerance"), [("cabinet", 0.01), ("wrist", 0.05)])
def test_dead_time_costs_its_own_phase(budgets, name, tolerance):
    """d(phase margin)/d(dead time) = −360° f at the crossover: a delay turns the phase and leaves the gain alone.

    Exact for a loop without fractions of a tick; what the hold folds back, and the inverse's look at the pressure
    (wrist), are the rest. Textbook (Åström & Murray, Feedback Systems) [memory, high].
    """
    from experiments.check.check import judge_loops

    source, found = read_rig(name), budgets[name]
    slope = next(e.slope for e in found.effects if e.name == "timing.dead_time_s").phase_margin_deg
    crossover = next(j.margins.crossover_Hz for j in judge_loops(source.rig(), {"a": 90.0})
                     if j.loop.side == found.side)
    assert slope == pytest.approx(-360.0 * crossover, rel=tolerance)


def test_a_delay_margin_of_ticks_shrinks_by_what_is_added(budgets):
    """A fifth of a tick more dead time leaves a fifth of a tick less [definition]."""
    effect = next(e for e in budgets["cabinet"].effects if e.name == "timing.dead_time_s").effect
    assert effect.delay_margin_ticks == pytest.approx(-0.2, abs=0.005)
