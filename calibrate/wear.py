"""Wear time: which finger is under the cuff when, how long it rests, and how much pressure it has borne.

    load of a finger = ∫ p_cuff dt over its turns (mmHg·h)
Nobody has published how much pressure for how long a finger stands: every limit here is invented and a parameter. Hours
and fingers of a plan must be said; nothing about them is taken for granted.
"""
from __future__ import annotations

import math
from itertools import pairwise
from typing import Annotated, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plant.bounds import check_bounds
from plant.declare import quantity
from plant.errors import InputError

Samples = NDArray[np.float64]

EXACT_h = 1e-9  # hours that do not count as a difference


class WearPlan(NamedTuple):
    """Who wears the cuff how long: one finger throughout, or two in turns by the clock."""

    duration_h: Annotated[float, quantity("h", 0.01, 1000, "time from the first turn to the last", "scenario")]
    fingers: Annotated[int, quantity("1", 1, 2, "fingers with a cuff", "scenario")]
    turn_min: Annotated[
        float, quantity("min", 1, 1440, "time under pressure before the other finger's turn", "invented")
    ] = 40.0
    pause_min: Annotated[
        float, quantity("min", 0, 600, "time between two turns in which no finger is under pressure", "invented")
    ] = 0.0


class WearLimits(NamedTuple):
    """What a plan must keep to."""

    one_finger_h: Annotated[float, quantity("h", 0.1, 1000, "longest wear of one cuff", "invented")] = 5.0
    two_fingers_h: Annotated[float, quantity("h", 0.1, 1000, "longest wear of two cuffs in turns", "invented")] = 30.0
    turn_min: Annotated[
        float, quantity("min", 1, 1440, "longest turn when two fingers take turns", "invented")
    ] = 40.0
    rest_min: Annotated[
        float, quantity("min", 0, 1440, "shortest rest between two turns of a finger", "invented: as long as 10 min")
    ] = 10.0
    load_mmHg_h: Annotated[
        float, quantity("mmHg·h", 1, 1e6, "largest pressure–time integral of a finger", "invented: 18 h at 100 mmHg")
    ] = 1800.0


USUAL_LIMITS = WearLimits()


class Turn(NamedTuple):
    """One stretch of pressure on one finger (0 the first)."""

    finger: int
    start_h: float
    end_h: float


class FingerAccount(NamedTuple):
    """What one finger bears over a plan."""

    finger: int
    turns: int
    pressed_h: float  # in total
    longest_h: float  # without a break
    shortest_rest_h: float  # between two turns; infinite when there is one turn only
    load_mmHg_h: float  # pressure–time integral


class Refusal(NamedTuple):
    """A plan that exceeds its limits: each limit it breaks ("duration", "turn", "rest", "load"), and why in words.

    Where both fingers break a limit, the words are about the one that breaks it by more, or the first.
    """

    broken: tuple[str, ...]
    reasons: tuple[str, ...]

    @property
    def message(self) -> str:
        """All reasons in one line."""
        return "; ".join(self.reasons)


class Accepted(NamedTuple):
    """A plan within its limits, with what each finger bears."""

    accounts: tuple[FingerAccount, ...]


def timeline(plan: WearPlan) -> list[Turn]:
    """All turns of a plan in order. Raises InputError for a plan out of bounds."""
    check_bounds(plan)
    if plan.fingers != int(plan.fingers):
        raise InputError(f"WearPlan.fingers = {plan.fingers} must be 1 or 2")
    if plan.fingers == 1 and plan.pause_min == 0.0:
        return [Turn(0, 0.0, plan.duration_h)]  # by the clock or not: it is one stretch
    turn_h, step_h = plan.turn_min / 60.0, (plan.turn_min + plan.pause_min) / 60.0
    count = math.ceil(plan.duration_h / step_h - EXACT_h)
    return [
        Turn(i % int(plan.fingers), i * step_h, min(i * step_h + turn_h, plan.duration_h)) for i in range(count)
    ]


def wear_account(plan: WearPlan, mean_cuff_mmHg: float | Samples) -> tuple[FingerAccount, ...]:
    """What each finger bears: hours, longest stretch, shortest rest, pressure–time integral (mmHg·h).

    `mean_cuff_mmHg` is one mean cuff pressure, or means over equal parts of the plan, in order. Raises InputError.
    """
    means = np.atleast_1d(np.asarray(mean_cuff_mmHg, float))
    if means.ndim != 1 or len(means) == 0 or not np.all((means >= 0.0) & (means <= 400.0)):
        raise InputError("mean_cuff_mmHg must be from 0 to 400 mmHg: one number, or one row of them")
    turns = timeline(plan)
    return tuple(_account(finger, turns, means, plan.duration_h) for finger in range(int(plan.fingers)))


def load_until(turns: list[Turn], finger: int, mean_cuff_mmHg: float | Samples, duration_h: float,
               time_h: Samples) -> Samples:
    """Pressure–time integral [mmHg·h] of a finger from the start to each time [h]; shape of `time_h`.

    `mean_cuff_mmHg` as in `wear_account`, over a plan of `duration_h`.
    """
    means = np.atleast_1d(np.asarray(mean_cuff_mmHg, float))
    edges = np.arange(len(means) + 1) * (duration_h / len(means))
    borne = np.concatenate([[0.0], np.cumsum(means) * (duration_h / len(means))])
    total = np.zeros(np.shape(time_h))
    for turn in turns:
        if turn.finger == finger:
            start, until = turn.start_h, np.clip(time_h, turn.start_h, turn.end_h)
            total = total + np.interp(until, edges, borne) - np.interp(start, edges, borne)
    return np.asarray(total, float)


def _account(finger: int, turns: list[Turn], means: Samples, duration_h: float) -> FingerAccount:
    own = [turn for turn in turns if turn.finger == finger]
    lengths = [turn.end_h - turn.start_h for turn in own]
    rests = [after.start_h - before.end_h for before, after in pairwise(own)]
    load = float(load_until(turns, finger, means, duration_h, np.array([duration_h]))[0])
    return FingerAccount(finger, len(own), sum(lengths), max(lengths, default=0.0), min(rests, default=math.inf), load)


def check_plan(
    plan: WearPlan, limits: WearLimits = USUAL_LIMITS, mean_cuff_mmHg: float | Samples = 90.0
) -> Refusal | Accepted:
    """Whether a plan keeps to its limits at a mean cuff pressure. A plan that does not is refused, with a reason for
    every limit it breaks.

    Raises InputError for a plan or limits out of bounds.
    """
    check_bounds(limits)
    accounts = wear_account(plan, mean_cuff_mmHg)
    alone = plan.fingers == 1
    longest_h = limits.one_finger_h if alone else limits.two_fingers_h
    reasons: dict[str, str] = {}
    if plan.duration_h > longest_h + EXACT_h:
        who = "one finger" if alone else "two fingers in turns"
        try_two = f"; two fingers may go on for {limits.two_fingers_h:g} h" if alone else ""
        reasons["duration"] = f"{plan.duration_h:g} h is longer than the {longest_h:g} h for {who}{try_two}"
    pressed = max(accounts, key=lambda account: account.longest_h)
    if not alone and pressed.longest_h > limits.turn_min / 60.0 + EXACT_h:
        reasons["turn"] = (f"{_name(pressed)} is under pressure for {60 * pressed.longest_h:.4g} min without a break, "
                           f"more than {limits.turn_min:g} min")
    restless = min(accounts, key=lambda account: account.shortest_rest_h)
    if restless.shortest_rest_h < limits.rest_min / 60.0 - EXACT_h:
        reasons["rest"] = (f"{_name(restless)} rests for {60 * restless.shortest_rest_h:.4g} min only, less than "
                           f"{limits.rest_min:g} min")
    loaded = max(accounts, key=lambda account: account.load_mmHg_h)
    if loaded.load_mmHg_h > limits.load_mmHg_h * (1.0 + EXACT_h):
        reasons["load"] = (f"{_name(loaded)} bears {loaded.load_mmHg_h:.4g} mmHg·h, more than "
                           f"{limits.load_mmHg_h:g} mmHg·h")
    return Refusal(tuple(reasons), tuple(reasons.values())) if reasons else Accepted(accounts)


def _name(account: FingerAccount) -> str:
    return f"finger {account.finger + 1}"
