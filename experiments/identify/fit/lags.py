"""Two first-order lags in series: the outlet of a pressure valve into the cuff, and the transducer."""
from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from experiments.identify.fit.problem import Problem
from plant.pneumatics.cuff import per_inflow
from plant.pneumatics.pressure_valve import PressureValve

Samples = NDArray[np.float64]
RESISTANCE, BANDWIDTH = "valve.outlet_resistance_mmHg_s_mL", "transducer.bandwidth_Hz"


def outlet_lag_s(problem: Problem, x: Samples) -> float:
    """Time constant [s] with which a pressure valve's outlet resistance fills an empty cuff."""
    pneumatics = problem.candidate(x).pneumatics
    valve = pneumatics.valve
    if not isinstance(valve, PressureValve):
        return 0.0
    per_flow = float(per_inflow(pneumatics.cuff, pneumatics.air, 0.0, 0.0))
    return valve.outlet_resistance_mmHg_s_mL / per_flow


def swapped_lags(problem: Problem, x: Samples, names: Sequence[str]) -> Samples | None:
    """The place where the two lags have changed places; None where they are not both looked for."""
    own = [f.name for f in problem.free]
    if not {RESISTANCE, BANDWIDTH} <= set(names) or not {RESISTANCE, BANDWIDTH} <= set(own):
        return None
    lag = outlet_lag_s(problem, x)
    i, j = own.index(RESISTANCE), own.index(BANDWIDTH)
    bandwidth = problem.free[j].outside(float(x[j]))
    other = 1.0 / (2.0 * np.pi * bandwidth)
    place = x.copy()
    place[i] = problem.free[i].inside(problem.free[i].outside(float(x[i])) * other / lag)
    place[j] = problem.free[j].inside(1.0 / (2.0 * np.pi * lag))
    return np.clip(place, *problem.bounds)
