"""The limit of tracking against closed forms: minimum variance with dead time, and Bode's integral with a bound on S.

All [computed]: mathematics, not a citation; theorems named where they are used [memory, high].
"""
import math

import numpy as np
import pytest
from scipy.optimize import minimize

from controller.tuning.best_possible import LoopSamples, best_possible


def samples(plant, pressure, points, noise=None):
    """A stable plant without a controller on the unit circle's upper half, tick 1 s."""
    angle = np.pi * (np.arange(points) + 0.5) / points
    z = np.exp(1j * angle)
    none = np.zeros(points)
    return LoopSamples(angle, plant(z), np.zeros(points, complex), pressure(z, angle),
                       none if noise is None else noise(z, angle), 1.0, 0)


@pytest.mark.parametrize("delay", [1, 2, 5])
def test_minimum_variance_of_a_random_walk(delay):
    """A pure dead time of d ticks under a random walk of unit steps leaves the variance of the d-step prediction error,
    d: Åström, Introduction to Stochastic Control Theory, minimum-variance control [memory, high]."""
    loop = samples(lambda z: z**-delay, lambda z, _: 1.0 / (abs(1.0 - 1.0 / z) ** 2 * len(z)), 4000)
    assert best_possible(loop, math.inf, 12).rms_mmHg ** 2 == pytest.approx(delay, rel=1e-3)


@pytest.mark.parametrize(("pole", "delay"), [(0.9, 1), (0.9, 4), (0.5, 2)])
def test_minimum_variance_of_a_first_order_disturbance(pole, delay):
    """Unit white noise through 1/(1 − a/z): Σ_{k<d} a^{2k} = (1 − a^{2d})/(1 − a²)."""
    loop = samples(lambda z: z**-delay, lambda z, _: 1.0 / (abs(1.0 - pole / z) ** 2 * len(z)), 2000)
    expected = (1.0 - pole ** (2 * delay)) / (1.0 - pole**2)
    assert best_possible(loop, math.inf, 60).rms_mmHg ** 2 == pytest.approx(expected, rel=1e-3)


def band(share):
    """Unit variance spread evenly over the lowest share of the frequencies."""
    def pressure(z, angle):
        inside = angle < share * np.pi
        return np.where(inside, 1.0 / np.sum(inside), 0.0)
    return pressure


@pytest.mark.parametrize(("peak", "share"), [(1.5, 0.25), (2.0, 0.25), (1.3, 0.2)])
def test_bound_on_the_peak_by_bodes_integral(peak, share):
    """One tick of delay: ∫ ln|S| = 0 (Bode), so the mean of ln|S| over the band is at least −(1 − share)/share ln Ms,
    and by Jensen rms ≥ Ms^{−(1 − share)/share}. An outer S of two levels reaches it, so a long Q must come near: a
    hundred taps are some percent above, never below, and more taps are closer."""
    loop = samples(lambda z: 1.0 / z, band(share), 800)
    exact = peak ** (-(1.0 - share) / share)
    few, more = best_possible(loop, peak, 25), best_possible(loop, peak, 100)
    assert exact < more.rms_mmHg < few.rms_mmHg
    assert more.rms_mmHg == pytest.approx(exact, rel=0.08)
    assert few.peak <= peak and more.peak <= peak


def test_a_finer_grid_changes_little():
    coarse, fine = (best_possible(samples(lambda z: 1.0 / z, band(0.25), n), 1.5, 40).rms_mmHg for n in (400, 1600))
    assert coarse == pytest.approx(fine, rel=1e-3)


def test_another_solver_agrees():
    """Five taps against SciPy's sequential quadratic programming on the same discs."""
    loop = samples(lambda z: z**-2, band(0.2), 120, lambda z, _: np.full(len(z), 0.05 / len(z)))
    z = np.exp(1j * loop.omega_rad_s)
    taps = z[:, None] ** -np.arange(5)

    def sensitivity(x):
        return 1.0 - loop.plant * (taps @ x)

    def variance(x):
        s = sensitivity(x)
        return float(np.sum(loop.pressure_mmHg2 * abs(s) ** 2 + loop.noise_mmHg2 * abs(1.0 - s) ** 2))

    found = minimize(variance, np.zeros(5), method="SLSQP", options={"maxiter": 300, "ftol": 1e-12},
                     constraints={"type": "ineq", "fun": lambda x: 1.4**2 - abs(sensitivity(x)) ** 2})
    best = best_possible(loop, 1.4, 5)
    assert best.rms_mmHg == pytest.approx(math.sqrt(found.fun), rel=1e-3)
    assert best.least_mmHg <= math.sqrt(found.fun) * (1.0 + 1e-6)


def test_any_stabilising_controller_gives_the_same_limit():
    """Youla: the set of all stabilising controllers does not depend on the one it is described from. A lagged plant
    under two different PI controllers, with a long Q."""
    angle = np.pi * (np.arange(900) + 0.5) / 900
    z = np.exp(1j * angle)
    plant = 0.1 / (z - 0.9) / z
    pressure = 1.0 / abs(1.0 - 0.95 / z) ** 2 / 900
    limits = []
    for gain, ti in ((0.5, 20.0), (2.0, 40.0)):
        controller = gain * (1.0 + 1.0 / (ti * (1.0 - 1.0 / z)))
        limits.append(best_possible(LoopSamples(angle, plant, controller, pressure, np.zeros(900), 1.0, 1), 1.6, 120))
    assert limits[0].rms_mmHg == pytest.approx(limits[1].rms_mmHg, rel=2e-3)
