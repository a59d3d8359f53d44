"""The fitting code on open benchmark recordings, against what others have published on them.

Files are looked for in `$CUFFLOOP_SHARED_DATA/benchmarks` (or ../shared/data/benchmarks) and are none of ours:

- cascaded_tanks.csv: water in two tanks, a pump's voltage and the lower level, 1,024 samples of 4 s for estimation and
  as many for validation (Schoukens, Mattsson, Wigren & Noël 2016), by forgi86/sysid-neural-structures-fitting 886c96.
  Published errors of simulation on the validation data [V], as Table 2 of doi:10.1155/2021/6613425 lists them: best
  linear approximation 0.7574, Volterra series of third degree 0.5400, polynomial state space 0.4498, another nonlinear
  state space 0.3433.
- silverbox.csv: an electronic oscillator with a cubic spring (Wigren & Schoukens 2013), 131,072 samples at 610.35 Hz,
  from Rafa7046/Non_Linear_Identification. Published errors on the rising sine [mV], from memory: best linear 13.7,
  physical block-oriented model 0.96 (Hjalmarsson & Schoukens 2004), polynomial state space 0.26 (Paduart 2008).

Models are written here from the physics that the descriptions give; no product's and nobody's code.
"""
import os
from pathlib import Path

import numpy as np
import pytest
from numba import njit

from experiments.identify.fit.solve import covariance, several

TOP = Path(__file__).resolve().parents[3]
FOLDER = Path(os.environ.get("CUFFLOOP_SHARED_DATA", TOP.parent / "shared" / "data")) / "benchmarks"
STEP = 1e-6


def needs(name):
    path = FOLDER / name
    return pytest.mark.skipif(not path.is_file(), reason=f"no {path} (CUFFLOOP_SHARED_DATA)")


def rms(values):
    return float(np.sqrt(np.mean(values * values)))


def fitted(course, measured, starts, low, high):
    """Numbers of a model by the searches and the solver that rigs are identified with; slopes by small steps."""
    def evaluate(x):
        base = course(x)
        slopes = [(course(x + STEP * np.eye(len(x))[i]) - base) / STEP for i in range(len(x))]
        return base - measured, np.array(slopes).T

    return several(evaluate, starts, (np.array(low), np.array(high)), 0.0, 80)[0]


@njit
def tanks(pump, numbers, start, period_s):
    """Lower level [V]: outflow by the root of each level (Torricelli); a full upper tank spills, partly into the lower.
    """
    upper_out, lower_in, lower_out, gain, spilled, full, offset = numbers
    upper, lower = start
    level = np.empty(len(pump))
    steps = 8
    h = period_s / steps
    for k in range(len(pump)):
        level[k] = min(lower, full) + offset
        for _ in range(steps):
            out = upper_out * np.sqrt(max(upper, 0.0))
            into = gain * pump[k]
            spill = max(into - out, 0.0) if upper >= full else 0.0
            lower += h * (lower_in * np.sqrt(max(upper, 0.0)) - lower_out * np.sqrt(max(lower, 0.0)) + spilled * spill)
            lower = min(max(lower, 0.0), full)
            upper = min(max(upper + h * (into - out), 0.0), full)
    return level


@pytest.mark.slow
@needs("cascaded_tanks.csv")
def test_cascaded_tanks():
    """Eight numbers of a grey box: simulated on data it has not seen, better than the best linear model and a Volterra
    series of third degree; the upper tank starts as in the estimation, as the description allows."""
    table = np.genfromtxt(FOLDER / "cascaded_tanks.csv", delimiter=",", skip_header=1, usecols=(0, 1, 2, 3))

    def simulated(x, pump, first):
        numbers = np.array([*np.exp(x[:5]), 10.0 * np.exp(x[5]), x[7]])
        return tanks(pump, numbers, np.array([np.exp(x[6]), first - x[7]]), 4.0)

    middle = np.log([0.05, 0.05, 0.05, 0.05, 0.3])
    starts = [np.array([*middle + off, 0.0, np.log(5.0), 0.0]) for off in (0.0, 0.4, -0.4)]
    found = fitted(lambda x: simulated(x, table[:, 0], table[0, 2]), table[:, 2], starts,
                   [*np.log([1e-3] * 4), -8.0, -0.3, -3.0, -3.0], [*np.log([1.0] * 4), 1.0, 0.3, 3.0, 3.0])
    seen = rms(found.residuals)
    unseen = rms(simulated(found.x, table[:, 1], table[0, 3]) - table[:, 3])
    print(f"cascaded tanks: {seen:.3f} V estimation, {unseen:.3f} V validation; {np.exp(found.x)}")
    assert seen < 0.35 and unseen < 0.5400
    assert np.all(np.isfinite(covariance(found.jacobian)))


@njit
def oscillator(force, numbers, period_s):
    """Position [V] of a mass on a spring with square and cubic parts, forced between samples by straight lines."""
    omega, damping, gain, square, cubic, offset = numbers
    place, speed = 0.0, 0.0
    course = np.empty(len(force))
    steps = 4
    h = period_s / steps
    for k in range(len(force)):
        course[k] = place + offset
        if k + 1 == len(force):
            break
        for j in range(steps):
            u0 = force[k] + (force[k + 1] - force[k]) * j / steps
            u1 = force[k] + (force[k + 1] - force[k]) * (j + 1) / steps
            p, v, dp, dv = place, speed, 0.0, 0.0
            for stage, weight in ((0, 1.0), (1, 2.0), (2, 2.0), (3, 1.0)):
                u = u0 if stage == 0 else (u1 if stage == 3 else 0.5 * (u0 + u1))
                a = omega * omega * (gain * u - p - square * p * p - cubic * p * p * p) - 2.0 * damping * omega * v
                dp, dv = dp + weight * v, dv + weight * a
                reach = 0.5 * h if stage < 2 else h
                p, v = place + reach * v, speed + reach * a
            place, speed = place + h / 6.0 * dp, speed + h / 6.0 * dv
    return course


@pytest.mark.slow
@needs("silverbox.csv")
def test_electronic_nonlinear_oscillator():
    """Six numbers on 8,000 samples of the multisine: on the rising sine, unseen, as well as a published physical model
    and ten times better than any linear one."""
    table = np.genfromtxt(FOLDER / "silverbox.csv", delimiter=",", skip_header=1, usecols=(0, 1))
    period = 2.0**14 / 1e7
    part = table[50_000:58_000]
    rest = 400  # samples in which what was before dies away

    def simulated(x, force):
        return oscillator(force, np.array([np.exp(x[0]), np.exp(x[1]), np.exp(x[2]), x[3], np.exp(x[4]), x[5]]), period)

    start = np.array([np.log(2.0 * np.pi * 68.0), np.log(0.05), 0.0, 0.0, np.log(4.0), 0.0])
    found = fitted(lambda x: simulated(x, part[:, 0])[rest:], part[rest:, 1],
                   [start, start + np.array([0.02, 0.3, 0.1, 0.0, -0.5, 0.0])],
                   [5.7, -5.0, -3.0, -5.0, -2.0, -0.1], [6.4, -1.0, 3.0, 5.0, 4.0, 0.1])
    arrow = table[:40_000]
    unseen = 1e3 * rms(simulated(found.x, arrow[:, 0])[rest:] - arrow[rest:, 1])
    print(f"oscillator: {1e3 * rms(found.residuals):.3f} mV estimation, {unseen:.3f} mV on the rising sine; {found.x}")
    assert unseen < 1.37 and abs(np.exp(found.x[0]) / (2.0 * np.pi) - 68.5) < 1.0
