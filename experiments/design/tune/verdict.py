"""One setting judged on every finger: its errors and margins, what of them counts, and which loops decide."""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.margins.disturbed import EFFORTS, disturbed
from controller.margins.many_settings import rows_of, survey_settings
from controller.tick.law import design
from controller.tick.parameters import Controller
from experiments.design.tune.cases import Population
from experiments.design.tune.descent import Deciding
from experiments.design.tune.limits import FAR, MarginLimit, effort_shortfalls, margin_values, shortfalls, split
from plant.errors import InputError

Reals = NDArray[np.float64]

LARGEST_IS_WORST = ("sensitivity_peak", *EFFORTS)
ADDED = 2  # loops that a round adds for each limit, and for the error


class Evaluation(NamedTuple):
    """One setting on every finger of a population."""

    controller: Controller
    rms_mmHg: Reals  # (fingers,) tracking error at the least favourable side and light slope
    pressure_mmHg: Reals  # (fingers,) what arterial pressure makes of it
    noise_mmHg: Reals  # (fingers,) what the light's noise does
    margins: dict[str, Reals]  # (fingers,) the worst of a finger's loops, and its command; NaN where one is unstable
    errors: Reals  # (fingers, sides, gains) rms
    shortfall: Reals  # (fingers, loops, gains, limits); of a limit on the command at mean pressure only

    @property
    def finger_shortfall(self) -> Reals:
        """(fingers, limits) largest of each finger's loops."""
        return np.asarray(np.max(self.shortfall, axis=(1, 2)))


class Kept(NamedTuple):
    """Which fingers count when a share of them may be left behind, for each limit and for the error."""

    limits: NDArray[np.bool_]  # (fingers, limits)
    error: NDArray[np.bool_]  # (fingers,)


def evaluate(people: Population, controller: Controller, limits: tuple[MarginLimit, ...], period_s: float
             ) -> Evaluation:
    """One setting on every finger, exactly. Raises InputError for a setting that the firmware does not take."""
    rows = rows_of([design(controller, period_s)], people.gains)
    template = design(controller, period_s)
    on_margins, on_command = split(limits)
    errors, parts, missed, worst = [], [], [], []
    for case in people.cases:
        found = [disturbed(template, rows, disturbance) for disturbance in case.disturbances]
        total = np.array([one.rms_mmHg for one in found])
        side, gain = np.unravel_index(int(np.argmax(total)), total.shape)
        errors.append(total)
        parts.append((total[side, gain], found[side].pressure_mmHg[gain], found[side].noise_mmHg[gain]))
        surveys = [survey_settings(loop, rows) for loop in case.loops]
        by_loop = np.full((len(case.loops), len(rows), len(limits)), -FAR)
        by_loop[..., : len(on_margins)] = [shortfalls(survey, on_margins, period_s) for survey in surveys]
        by_loop[: len(found), :, len(on_margins) :] = [effort_shortfalls(one, on_command) for one in found]
        missed.append(by_loop)
        values = [margin_values(survey, period_s) for survey in surveys]
        efforts = {name: [getattr(one, name) for one in found] for name in EFFORTS}
        columns = {name: [value[name] for value in values] for name in values[0]} | efforts
        worst.append({name: float((np.max if name in LARGEST_IS_WORST else np.min)(column))
                      for name, column in columns.items()})
    rms, pressure, noise = (np.array([part[k] for part in parts]) for k in range(3))
    unstable = np.isnan([w["sensitivity_peak"] for w in worst])
    rms = np.where(unstable, math.inf, rms)
    margins = {name: np.array([w[name] for w in worst]) for name in worst[0]}
    return Evaluation(controller, rms, pressure, noise, margins, np.array(errors), np.array(missed))


def left_behind(people: Population, percentile: float) -> int:
    """How many of the fingers that can be clamped need not count; those that cannot be clamped are left first.

    Raises InputError when more cannot be clamped than may be left behind.
    """
    allowed = math.floor(people.fingers * (1.0 - percentile / 100.0) + 1e-9)
    if len(people.left_out) > allowed:
        name, reason = people.left_out[0]
        raise InputError(f"{len(people.left_out)} of {people.fingers} fingers cannot be clamped and "
                         f"{allowed} may be left behind at --percentile {percentile:g}; {name}: {reason}")
    return allowed - len(people.left_out)


def kept_fingers(reference: Evaluation, behind: int) -> Kept:
    """All fingers but the hardest few: those a reference setting does worst on, by each limit and by the error."""
    def all_but(worst_last: Reals) -> NDArray[np.bool_]:
        keep = np.ones(len(worst_last), bool)
        keep[np.argsort(worst_last, kind="stable")[len(worst_last) - behind :]] = False
        return keep

    limits = np.column_stack([all_but(column) for column in reference.finger_shortfall.T])
    return Kept(limits, all_but(reference.rms_mmHg))


def worst_of_kept(found: Evaluation, kept: Kept) -> tuple[float, float]:
    """Largest rms error [mmHg] and largest shortfall over the fingers that count."""
    missed = np.where(kept.limits, found.finger_shortfall, -FAR)
    return float(np.max(found.rms_mmHg[kept.error])), float(np.max(missed))


class Deciders:
    """The loops that have decided so far, as indices into a population; more are added as they turn up."""

    def __init__(self, people: Population, kept: Kept, limits: tuple[MarginLimit, ...]) -> None:
        self.people, self.kept, self.limits = people, kept, limits
        self.loops: list[tuple[int, int, int]] = []  # (finger, loop, gain)
        self.errors: list[tuple[int, int, int]] = []  # (finger, side, gain)

    def absorb(self, found: Evaluation) -> bool:
        """Add the loops that do worst under a setting; True when any of them was new."""
        before = len(self.loops) + len(self.errors)
        for k, limit in enumerate(self.limits):
            missed = np.where(self.kept.limits[:, k, None, None], found.shortfall[..., k], -math.inf)
            if limit.on_command:
                self._add(self.errors, missed[:, : found.errors.shape[1]])
            else:
                self._add(self.loops, missed)
        self._add(self.errors, np.where(self.kept.error[:, None, None], found.errors, -math.inf))
        return len(self.loops) + len(self.errors) > before

    @staticmethod
    def _add(known: list[tuple[int, int, int]], badness: Reals) -> None:
        for flat in np.argsort(-badness, axis=None, kind="stable")[:ADDED]:
            where = tuple(int(i) for i in np.unravel_index(int(flat), badness.shape))
            if where not in known:
                known.append((where[0], where[1], where[2]))

    def deciding(self) -> Deciding:
        """Them, as the search takes them."""
        cases, gains = self.people.cases, self.people.gains
        return Deciding(
            tuple((cases[i].loops[j], float(gains[k])) for i, j, k in self.loops),
            tuple((cases[i].disturbances[j], float(gains[k])) for i, j, k in self.errors), self.limits,
        )

    def copy(self, limits: tuple[MarginLimit, ...]) -> Deciders:
        """The same loops under other limits on the same figures."""
        other = Deciders(self.people, self.kept, limits)
        other.loops, other.errors = list(self.loops), list(self.errors)
        return other
