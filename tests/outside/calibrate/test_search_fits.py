"""Fits of the set-point search against other optimisers of SciPy: none of them finds a lower cost.

Outside fact: a least-squares minimum does not depend on the method that finds it [computed]. The cost of the
arctangent fit is written out anew here from its definition, with the priors that the source states.
"""
import math

import numpy as np
import pytest
from scipy.optimize import differential_evolution, minimize

from calibrate.search.arctangent import ArctangentFit, fit_arctangent
from calibrate.search.staircase import Step
from calibrate.search.waveform_fit import Stretch, pose
from plant.pressure.synthetic import STEADY, synthesise

TICK = 1e-3


def steps(seed: int) -> list[Step]:
    """Rises by the law at six pressures, with scatter."""
    random = np.random.default_rng(seed)
    depth, width = random.uniform(0.02, 0.1), random.uniform(8.0, 25.0)
    low, high = random.uniform(50.0, 80.0), random.uniform(100.0, 150.0)
    found = []
    for pressure in (40.0, 60.0, 80.0, 100.0, 120.0, 160.0):
        rise = depth / math.pi * (math.atan((high - pressure) / width) - math.atan((low - pressure) / width))
        rise *= 1.0 + 0.06 * random.standard_normal()
        found.append(Step(pressure, rise, 1.0, 1.0, 0.3, 1e-5, 0.01, 0.05, np.zeros(1)))
    return found


def arctangent_cost(x: np.ndarray, seen: list[Step]) -> float:
    """Half the sum of squares: x is ln α, ln w, middle, ln (S − D)."""
    pressure, rise = np.array([s.pressure_mmHg for s in seen]), np.array([s.rise for s in seen])
    error = np.sqrt((0.08 * rise) ** 2 + (0.02 * rise.max()) ** 2 + np.array([2.0 * s.noise for s in seen]) ** 2)
    width, half = math.exp(x[1]), 0.5 * math.exp(x[3])
    law = np.arctan((x[2] + half - pressure) / width) - np.arctan((x[2] - half - pressure) / width)
    beliefs = ((x[1] - math.log(16.0)) / 0.5) ** 2 + ((x[3] - math.log(45.0)) / 0.6) ** 2
    return 0.5 * float(np.sum(((math.exp(x[0]) / math.pi * law - rise) / error) ** 2) + beliefs)


def unknowns(fit: ArctangentFit) -> np.ndarray:
    return np.array([math.log(fit.depth), math.log(fit.width_mmHg), fit.middle_mmHg,
                     math.log(fit.systolic_mmHg - fit.diastolic_mmHg)])


@pytest.mark.parametrize("seed", range(5))
def test_arctangent_fit_is_the_global_minimum(seed: int) -> None:
    seen = steps(seed)
    ours = arctangent_cost(unknowns(fit_arctangent(seen)), seen)
    bounds = [(math.log(1e-3), math.log(1.0)), (math.log(3.0), math.log(80.0)), (20.0, 200.0), (1.5, 5.5)]
    other = differential_evolution(arctangent_cost, bounds, args=(seen,), seed=seed, tol=1e-8, maxiter=300)
    assert ours <= other.fun * (1.0 + 1e-3) + 1e-6


@pytest.mark.parametrize("seed", range(3))
def test_waveform_fit_is_a_minimum_from_everywhere(seed: int) -> None:
    """The same residuals, from scattered starts, by L-BFGS-B and then by Nelder and Mead's simplex."""
    random = np.random.default_rng(seed)
    arterial = synthesise(STEADY._replace(respiration_mmHg=2.0), TICK, 20.0, seed).pressure_mmHg
    holds = []
    for k, cuff in enumerate((40.0, 80.0, 120.0, 160.0, 100.0, 60.0, 88.0)):
        at = slice(2000 * k + 400, 2000 * k + 2000)
        depth = 1.5 + 0.05 * np.arctan((arterial[at] - cuff - 5.0) / 15.0) / math.pi
        holds.append(Stretch(at.start * TICK, depth + 1e-4 * random.standard_normal(1600), np.full(1600, cuff)))
    clamp = Stretch(14.9, np.full(2900, 1.5), arterial[14_900:17_800] - 5.0)
    problem = pose(holds, clamp, ArctangentFit(0.06, 17.0, 118.0, 72.0, 2.0, 1.0), TICK)
    assert problem is not None
    problem.solve()

    def cost(u: np.ndarray) -> float:
        return 0.5 * float(np.sum(problem.residuals(u * problem.scale) ** 2))

    def slope(u: np.ndarray) -> np.ndarray:
        x = u * problem.scale
        return (problem.jacobian(x).T @ problem.residuals(x)) * problem.scale

    best = problem.x / problem.scale
    ours = cost(best)
    for start in (best, best + random.standard_normal(len(best)), best + random.standard_normal(len(best))):
        other = minimize(cost, start, jac=slope, method="L-BFGS-B", options={"maxiter": 3000, "ftol": 1e-13})
        assert ours <= other.fun * (1.0 + 1e-3)
    simplex = minimize(cost, best, method="Nelder-Mead", options={"maxfev": 1500})
    assert ours <= simplex.fun * (1.0 + 1e-3)
