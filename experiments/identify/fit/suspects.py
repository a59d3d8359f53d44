"""What a misfit looks like: which number that was not looked for would take most of it away (score test, Rao 1948).

One pass of the lanes gives the course's change by each suspect. What of it the numbers that were looked for cannot
follow is held against the residuals: the share of their sum of squares that it would take away.
"""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.identify.fit.problem import Problem, evaluate
from experiments.identify.light.bench import SUSPECTS as LIGHT_SUSPECTS
from experiments.identify.light.bench import TABLES as LIGHT_TABLES
from experiments.identify.light.bench import LightBench
from experiments.identify.replay.candidates import TABLES, free_of, value_of
from plant.errors import InputError

Samples = NDArray[np.float64]
SUSPECTS = {  # number: what its absence looks like
    "valve.hysteresis": "play between command and valve", "valve.slew_per_s": "a slew limit of the valve",
    "valve.slew_mmHg_s": "a slew limit of the valve", "valve.flow_limit_mL_s": "a flow limit of the valve",
    "supply.pressure_mmHg": "another supply pressure", "supply.volume_mL": "a supply that falls otherwise",
    "cuff.leak_mL_s_mmHg": "another leak", "cuff.half_growth_mmHg": "a cuff that stretches otherwise",
    "cuff.gap_mm": "another exchange of heat in the cuff",
    "tube.valve_volume_mL": "another volume at the valve's outlet",
    "tube.length_m": "another length of tube", "air.polytropic_exponent": "another exponent of the air in the line",
    "transducer.gain": "another gain of the transducer",
}
FINGER_TABLES = (*LIGHT_TABLES, "segment")
STEPS = {"valve.hysteresis": 0.002, "light.diffuse_depth": 1.0}  # absolute; others move by one percent
SHARE = 0.01


class Suspect(NamedTuple):
    """A number that was not looked for, and how much of what is left over it would take away."""

    name: str
    looks_like: str
    share: float  # of the sum of squares beyond noise, 0 … 1
    change: float  # relative change that it asks for, to first order (absolute from zero)


def suspects(problem: Problem, x: Samples, ratio: float) -> list[Suspect]:
    """Suspects in the order of their shares; `ratio` is the mean square of the residuals over the noise's."""
    taken = set(problem.names())
    names, sizes = [], []
    looks = LIGHT_SUSPECTS if isinstance(problem.bench, LightBench) else SUSPECTS
    tables = FINGER_TABLES if isinstance(problem.bench, LightBench) else TABLES
    for name in looks:
        if name in taken:
            continue
        try:
            free_of(problem.bench.rig, name, tables)
        except InputError:
            continue
        believed = value_of(problem.bench.rig, name)
        step = STEPS.get(name, SHARE * believed)
        if step > 0.0:
            names.append(name)
            sizes.append(step)
    residuals, jacobian = evaluate(problem, x)
    columns = _columns(problem, x, names, sizes)
    q, _ = np.linalg.qr(jacobian)
    found = []
    excess = max(1.0 - 1.0 / max(ratio, 1.0 + 1e-9), 1e-9) * float(residuals @ residuals)
    for name, size, column in zip(names, sizes, columns.T, strict=True):
        own = column - q @ (q.T @ column)
        length = float(own @ own)
        if length < 1e-12 * float(column @ column) or length == 0.0:
            continue
        along = float(own @ residuals)
        believed = value_of(problem.bench.rig, name)
        found.append(Suspect(name, looks[name], min(along * along / length / excess, 1.0),
                             -along / length * size / (believed if believed else 1.0)))
    return sorted(found, key=lambda suspect: -suspect.share)


def _columns(problem: Problem, x: Samples, names: list[str], sizes: list[float]) -> Samples:
    """Change of the scaled residuals by a step of each suspect, (residuals, suspects)."""
    own, values = problem.names(), problem.values(x)
    base = problem.candidate(x)
    moved = [base, *(problem.bench.candidate((*own, name), [*values, value_of(problem.bench.rig, name) + size])
                     for name, size in zip(names, sizes, strict=True))]
    columns = []
    for k, recording in enumerate(problem.recordings):
        for name, courses in problem.courses(k, moved).items():
            change = (courses[:, 1:] - courses[:, :1]) / recording.noise[name]
            columns.append(change - np.mean(change, axis=0) * problem.bench.centred)
    return np.concatenate(columns)
