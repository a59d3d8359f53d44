"""The linear prediction of a tuning held against the nonlinear simulation, on a few fingers.

Compared is cuff pressure, as the tissue passes it on, minus the ideal p_a − p0, above a low frequency: below it the set
point drifts with veins, creep and tone, which no loop gain mends and a tuning does not judge.
"""
from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from controller.margins.many_settings import rows_of, servo_errors
from controller.tick.law import design
from experiments.design.tune.cases import Case, Population
from experiments.design.tune.verdict import Evaluation
from experiments.rigs.rig import Rig
from experiments.simulation.simulate import USUAL, simulate
from experiments.subjects.finger import finger_pressure, on_finger
from experiments.subjects.spectrum import pressure_variance

LOWEST_Hz = 0.4  # below the slowest pulse
RUN_s, SETTLE_s = 45.0, 16.0  # the way into the clamp and the creep after it can take ten seconds and more
PLAN = USUAL._replace(settle_s=SETTLE_s)


class Confirmation(NamedTuple):
    """One finger, predicted and simulated at its true light slope."""

    finger: str
    why: str
    predicted_mmHg: float
    simulated_mmHg: float  # above LOWEST_Hz; NaN when the run did not come to its end
    whole_mmHg: float  # the same with the drift of the set point
    status: str  # of the run


def confirm(
    rig: Rig, people: Population, found: Evaluation, seed: int, progress: Callable[[float], None] | None = None
) -> tuple[Confirmation, ...]:
    """Simulate the fingers that say most: the largest error, the least margin, the middle, the smallest error."""
    order = np.argsort(found.rms_mmHg, kind="stable")
    tight = int(np.argmax(np.max(found.finger_shortfall, axis=1)))
    chosen = {int(order[-1]): "largest error"}
    for i, why in ((tight, "least margin"), (int(order[len(order) // 2]), "middle"), (int(order[0]), "least error")):
        chosen.setdefault(i, why)
    results = []
    for done, (i, why) in enumerate(chosen.items()):
        results.append(confirm_finger(rig, people.cases[i], found, seed, why))
        if progress is not None:
            progress((done + 1) / len(chosen))
    return tuple(results)


def confirm_finger(rig: Rig, case: Case, found: Evaluation, seed: int, why: str = "") -> Confirmation:
    """One finger's prediction and simulation."""
    worn = on_finger(rig._replace(controller=found.controller), case.finger)
    run = simulate(worn, finger_pressure(case.finger, worn.timing.period_s, RUN_s), PLAN, seed)
    simulated = whole = math.nan
    if run.status == "done":
        held = worn.plant.tissue.transmission * run.channels["cuff_mmHg"] - run.ideal_mmHg
        error = held[run.counted]
        frequency, variance = pressure_variance(error, run.period_s, 0.45 / run.period_s)
        simulated = math.sqrt(float(np.sum(variance[frequency > LOWEST_Hz])))
        whole = math.sqrt(float(np.mean(error**2)))
    return Confirmation(case.finger.name, why, _predicted(case, found, run.period_s), simulated, whole, run.status)


def _predicted(case: Case, found: Evaluation, period_s: float) -> float:
    """Error [mmHg rms] above LOWEST_Hz at the true slope, on the side that is worse."""
    coefficients = design(found.controller, period_s)
    rows = rows_of([coefficients], np.ones(1))
    totals = []
    for disturbance in case.disturbances:
        fast = np.where(disturbance.omega_rad_s > 2.0 * math.pi * LOWEST_Hz, disturbance.pressure_mmHg2, 0.0)
        pressure, noise = servo_errors(coefficients, rows, disturbance._replace(pressure_mmHg2=fast))
        totals.append(float(np.hypot(pressure, noise)[0]))
    return max(totals)
