"""The search for settings on a few deciding loops: low-discrepancy shapes, each at many gains, then a local descent.

minimise  the largest rms tracking error  over the settings, subject to every limit on every deciding loop
The screening takes Sobol points (Sobol 1967), so it is the same every time; the descent is sequential quadratic
programming on the logarithms (Kraft 1988, from SciPy), with the largest error as a variable of its own.
"""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.margins.disturbed import Disturbance, disturbed
from controller.margins.many_settings import Prepared, rows_of, survey_settings
from controller.tick.law import Coefficients, design
from controller.tick.parameters import Controller
from experiments.design.tune.limits import FAR, MarginLimit, effort_shortfalls, shortfalls, split
from experiments.design.tune.structures import Space, from_settings, to_settings
from plant.errors import InputError

Reals = NDArray[np.float64]

SHAPES = 256  # screened, a power of two as Sobol's points like it
LADDER = np.geomspace(0.02, 1.0, 12)  # share of the ultimate gain at which each shape is tried
DESCENTS = 4  # from the best of them
GIVEN = 3  # from the best of the starts that are given
AGAIN = 3  # of the ends from which it descends once more: a fresh start often finds a way on from a ridge
STEP = 1e-5  # of a logarithm, for slopes
INSIDE = 1e-3  # share of each limit by which the search stays within it: rounded settings keep it then
MOST_ITERATIONS = 60


class Deciding(NamedTuple):
    """The loops and disturbances that decide, each with the factor on its gain."""

    loops: tuple[tuple[Prepared, float], ...]
    disturbances: tuple[tuple[Disturbance, float], ...]
    limits: tuple[MarginLimit, ...]


class Judgement(NamedTuple):
    """What the deciding loops say of many settings."""

    log_rms: Reals  # (settings, disturbances); inf where nothing can be said
    shortfall: Reals  # (settings, loops · limits on margins + disturbances · limits on the command)


class Tuned(NamedTuple):
    """The best settings of one structure on the deciding loops."""

    structure: str
    controller: Controller
    rms_mmHg: float
    kept: bool  # whether every limit is kept there


def judge_settings(settings: list[Controller], deciding: Deciding, period_s: float) -> Judgement:
    """Errors and shortfalls of many settings at once."""
    made, valid = _designed(settings, period_s)
    on_margins, on_command = split(deciding.limits)
    errors = np.full((len(settings), len(deciding.disturbances)), math.inf)
    width, first = len(on_margins), len(deciding.loops) * len(on_margins)
    more = len(on_command)
    missed = np.full((len(settings), first + len(deciding.disturbances) * more), 2.0 * FAR)
    if not made:
        return Judgement(errors, missed)
    template = made[0]
    for k, (disturbance, gain) in enumerate(deciding.disturbances):
        found = disturbed(template, rows_of(made, np.array([gain])), disturbance)
        errors[valid, k] = np.log(np.maximum(found.rms_mmHg, 1e-9))
        missed[valid, first + k * more : first + (k + 1) * more] = effort_shortfalls(found, on_command)
    for k, (loop, gain) in enumerate(deciding.loops):
        survey = survey_settings(loop, rows_of(made, np.array([gain])))
        missed[valid, k * width : (k + 1) * width] = shortfalls(survey, on_margins, period_s)
    return Judgement(errors, missed)


def _designed(settings: list[Controller], period_s: float) -> tuple[list[Coefficients], NDArray[np.bool_]]:
    """Coefficients of those settings that the firmware takes, and which they are."""
    made: list[Coefficients] = []
    valid = np.zeros(len(settings), bool)
    for i, controller in enumerate(settings):
        try:
            made.append(design(controller, period_s))
            valid[i] = True
        except InputError:
            continue
    return made, valid


def screen(space: Space, ultimate_gain: float, deciding: Deciding) -> Reals:
    """The most promising shapes at their best gains, best first, shape (up to DESCENTS, settings)."""
    from scipy.stats import qmc

    points = qmc.Sobol(len(space.names) - 1, scramble=False).random(SHAPES) + 0.5 / SHAPES
    shapes = space.low[space.shape] + np.minimum(points, 1.0) * (space.high - space.low)[space.shape]
    gains = np.log(ultimate_gain * LADDER)
    tried = np.empty((SHAPES * len(gains), len(space.names)))
    tried[:, space.shape] = np.repeat(shapes, len(gains), axis=0)
    tried[:, space.names.index("kp")] = np.tile(gains, SHAPES)
    judged = judge_settings([to_settings(space, x) for x in tried], deciding, space.period_s)
    cost = _cost(judged).reshape(SHAPES, len(gains))
    best = np.argmin(cost, axis=1)
    order = np.argsort(cost[np.arange(SHAPES), best], kind="stable")[:DESCENTS]
    return np.asarray(tried.reshape(SHAPES, len(gains), -1)[order, best[order]])


def _cost(judged: Judgement) -> Reals:
    """One number a setting: its error where all limits are kept, else far above, by how much they are missed."""
    missed = np.max(judged.shortfall, axis=1)
    error = np.max(judged.log_rms, axis=1)
    return np.where(missed <= -0.5 * INSIDE, np.where(np.isfinite(error), error, 50.0), 100.0 + missed)


def descend(space: Space, start: Reals, deciding: Deciding) -> tuple[Reals, float, float]:
    """A local optimum from a start: (vector, its cost, largest shortfall). Never worse than the start."""
    from scipy.optimize import minimize

    n = len(start)
    seen: dict[bytes, tuple[Reals, Reals]] = {}
    best, best_cost, best_missed = start, math.inf, math.inf

    def constraints(u: Reals) -> tuple[Reals, Reals]:
        """Values, all ≥ 0 where kept, of errors below the level and of limits, and their slopes by each variable."""
        nonlocal best, best_cost, best_missed
        key = u[:n].tobytes()
        if key not in seen:
            around = np.vstack([u[:n], u[:n] + STEP * np.eye(n) * np.where(u[:n] + STEP > space.high, -1.0, 1.0)])
            judged = judge_settings([to_settings(space, x) for x in around], deciding, space.period_s)
            cost = float(_cost(judged)[0])
            if cost < best_cost:
                best, best_cost, best_missed = u[:n].copy(), cost, float(np.max(judged.shortfall[0]))
            error = np.where(np.isfinite(judged.log_rms), judged.log_rms, 50.0)
            values = np.hstack([-error, -judged.shortfall - INSIDE])
            moves = np.diag(around[1:] - around[0])
            seen[key] = values[0], ((values[1:] - values[0]) / moves[:, None]).T
        values, slopes = seen[key]
        level = np.zeros(len(values))
        level[: len(deciding.disturbances)] = 1.0
        return values + level * u[n], np.column_stack([slopes, level])

    first = judge_settings([to_settings(space, start)], deciding, space.period_s)
    level = float(np.max(np.where(np.isfinite(first.log_rms), first.log_rms, 50.0)))
    minimize(
        lambda u: u[n], np.append(start, level), jac=lambda u: np.append(np.zeros(n), 1.0), method="SLSQP",
        bounds=[*zip(space.low, space.high, strict=True), (-20.0, 60.0)],
        constraints={"type": "ineq", "fun": lambda u: constraints(u)[0], "jac": lambda u: constraints(u)[1]},
        options={"maxiter": MOST_ITERATIONS, "ftol": 1e-6},
    )
    return best, best_cost, best_missed


def tune_structure(space: Space, ultimate_gain: float, deciding: Deciding, starts: list[Controller],
                   screened: bool = True) -> Tuned:
    """The best settings of a structure found from its screening and from `starts`."""
    given = np.array([from_settings(space, controller) for controller in starts])
    cost = _cost(judge_settings([to_settings(space, x) for x in given], deciding, space.period_s))
    found = list(given[np.argsort(cost, kind="stable")[:GIVEN]])
    if screened:
        found += list(screen(space, ultimate_gain, deciding))
    ends = sorted((descend(space, start, deciding) for start in found), key=lambda end: end[1])
    if screened:
        ends = [ends[0], *(descend(space, end[0], deciding) for end in ends[:AGAIN])]
    x, least, missed = min(ends, key=lambda end: end[1])
    return Tuned(space.structure, to_settings(space, x), math.exp(least) if missed <= 0.0 else math.nan, missed <= 0.0)
