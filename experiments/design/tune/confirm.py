"""The linear prediction of a tuning held against the nonlinear simulation, on many of its fingers side by side.

Compared is cuff pressure, as the tissue passes it on, minus the ideal p_a − p0, above a low frequency: below it the set
point drifts with creep and tone, which no loop gain mends and a tuning does not judge.
"""
from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from controller.margins.disturbed import EFFORTS, Disturbed, disturbed
from controller.margins.many_settings import rows_of
from controller.tick.law import design
from experiments.check.agreement import APART, LOWEST_Hz
from experiments.design.tune.cases import Case, Population, finger_case
from experiments.design.tune.limits import MarginLimit, split
from experiments.design.tune.verdict import Evaluation
from experiments.rigs.rig import Rig
from experiments.simulation.recorded import recorded_runs
from experiments.simulation.simulate import Ready, Run, plan_at_rest, prepare
from experiments.subjects.curve import swinging_rms_mmHg
from experiments.subjects.finger import finger_pressure, on_finger
from experiments.subjects.spectrum import rms_above

RUN_s, SETTLE_s = 45.0, 6.0
PLAN = plan_at_rest(RUN_s, SETTLE_s)  # filled for as long as a search takes to its first clamp
SIMULATED = 50  # fingers, or all where there are fewer
TOGETHER = 16  # runs side by side


class Confirmation(NamedTuple):
    """One finger, predicted and simulated at its true light slope."""

    finger: str
    why: str  # it was chosen
    predicted_mmHg: float  # with the artery's curve, which lowers the gain of a loop that leaves much
    simulated_mmHg: float  # above LOWEST_Hz; NaN when the run did not come to its end
    whole_mmHg: float  # the same with the drift of the set point
    status: str  # of the run
    command_rms: float  # simulated, above LOWEST_Hz
    command_step_sd: float
    limit_share: float  # of ticks at a limit of the command
    predicted_command_rms: float
    predicted_step_sd: float
    highest_mmHg: float  # cuff pressure
    broken: str  # what breaks in simulation, or how prediction and simulation part; empty where nothing does


def chosen_fingers(found: Evaluation, count: int) -> dict[int, str]:
    """Fingers to simulate: those that say most (largest error, least margin, middle, least error), and as many more
    evenly through the order of errors; {number: why}."""
    order = np.argsort(found.rms_mmHg, kind="stable")
    tight = int(np.argmax(np.max(found.finger_shortfall, axis=1)))
    chosen = {int(order[-1]): "largest error"}
    for i, why in ((tight, "least margin"), (int(order[len(order) // 2]), "middle"), (int(order[0]), "least error")):
        chosen.setdefault(i, why)
    rest = [int(i) for i in order if int(i) not in chosen]
    more = min(max(count - len(chosen), 0), len(rest))
    for k in np.linspace(0, len(rest) - 1, more).round() if more else []:
        chosen.setdefault(rest[int(k)], "")
    return chosen


def confirm(
    people: Population, found: Evaluation, limits: tuple[MarginLimit, ...], seed: int,
    progress: Callable[[float], None] | None = None, count: int = SIMULATED,
) -> tuple[Confirmation, ...]:
    """Simulate `count` fingers of a population, each on its own rig, under the setting that was found."""
    chosen = chosen_fingers(found, count)
    numbers, results = list(chosen), []
    substeps: int | None = None
    for first in range(0, len(numbers), TOGETHER):
        some = [people.cases[i] for i in numbers[first : first + TOGETHER]]
        ready = []
        for case in some:
            tuned = case.rig._replace(controller=found.controller)
            ready.append(_ready(tuned, case, seed, substeps))
            substeps = substeps or int(ready[-1].loop.clock.substeps)  # on one rig they hardly differ
        done = dict(recorded_runs(ready))
        worst = float(np.max(found.rms_mmHg[np.isfinite(found.rms_mmHg)], initial=0.0))
        for k, case in enumerate(some):
            # its light is found with the tuned loop's own tone
            own = finger_case(case.rig._replace(controller=found.controller), case.finger)
            results.append(_confirmation(own, done[k], chosen[numbers[first + k]], limits, worst))
        if progress is not None:
            progress((first + len(some)) / len(numbers))
    return tuple(results)


def _ready(tuned: Rig, case: Case, seed: int, substeps: int | None) -> Ready:
    worn = on_finger(tuned, case.finger)
    return prepare(worn, finger_pressure(case.finger, worn.timing.period_s, RUN_s), PLAN, seed, substeps)


def _confirmation(case: Case, run: Run, why: str, limits: tuple[MarginLimit, ...], worst_mmHg: float) -> Confirmation:
    """One finger's prediction and simulation, and what is wrong between them."""
    predicted = predicted_of(case, run)
    law, worn = design(run.rig.controller, run.period_s), run.rig
    error = max(swinging_rms_mmHg(law, one.above(LOWEST_Hz), worn.plant.artery, worn.tone.level)
                for one in case.disturbances)
    spread = max(math.hypot(one.command_pulse_rms[0], one.command_noise_rms[0]) for one in predicted)
    step = max(float(one.command_step_sd[0]) for one in predicted)
    simulated = whole = command_rms = step_sd = share = math.nan
    if run.status != "diverged" and np.any(run.counted):
        held = run.rig.plant.tissue.transmission * run.channels["cuff_mmHg"] - run.ideal_mmHg
        simulated = rms_above(held[run.counted], run.period_s, LOWEST_Hz)
        whole = math.sqrt(float(np.mean(held[run.counted] ** 2)))
        command = run.channels["command"][run.counted]
        command_rms = rms_above(command, run.period_s, LOWEST_Hz)
        step_sd = float(np.std(np.diff(command)))
        share = float(np.mean(run.channels["limited"][run.counted] > 0.5))
    made = Confirmation(
        case.finger.name, why, error, simulated, whole, run.status, command_rms, step_sd, share, spread, step,
        float(np.max(run.channels["cuff_mmHg"])), "",
    )
    return made._replace(broken=_broken(made, limits, worst_mmHg))


def predicted_of(case: Case, run: Run) -> list[Disturbed]:
    """What the linear loop predicts above LOWEST_Hz at the true slope, on each side of the valve."""
    coefficients = design(run.rig.controller, run.period_s)
    rows = rows_of([coefficients], np.ones(1))
    return [disturbed(coefficients, rows, disturbance.above(LOWEST_Hz)) for disturbance in case.disturbances]


def _broken(c: Confirmation, limits: tuple[MarginLimit, ...], worst_mmHg: float) -> str:
    """What of a finger's simulation the tuning cannot stand behind, in a few words; empty where all is well."""
    if c.status != "done":
        return f"the run {c.status}" if c.status == "diverged" else "the clamp is saturated"
    allowed = {limit.figure: limit.allowed for limit in split(limits)[1]}
    room = math.hypot(allowed.get(EFFORTS[0], math.inf), allowed.get(EFFORTS[1], math.inf))
    for value, most, words in (
        (c.command_rms, room, "command rms"),
        (c.command_step_sd, allowed.get(EFFORTS[2], math.inf), "command SD by tick"),
        (c.limit_share, allowed.get(EFFORTS[3], math.inf), "share of ticks at a limit"),
    ):
        if value > most:
            return f"{words} {value:.3g} above {most:.3g}"
    # against the worst finger's, which is what the tuning says: where little is predicted, little counts
    if abs(c.simulated_mmHg - c.predicted_mmHg) > APART * max(c.predicted_mmHg, worst_mmHg):
        return f"{c.simulated_mmHg:.2f} mmHg simulated, {c.predicted_mmHg:.2f} predicted"
    return ""
