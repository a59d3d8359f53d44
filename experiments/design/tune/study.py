"""Tuning: the settings that track best on the hardest finger while every finger keeps its margins.

Few fingers decide. The search runs on those (tuning_search.py), its outcome is judged on all of them, the worst are
added, and so on until none is new. Classical rules are held to the same: each is computed for the rig's own finger and
its gain then scaled by one factor, up or down, to where it tracks best within the limits.
"""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.margins.corrected import Correction
from controller.margins.loop import build_loop, sides
from controller.margins.margins import OpenLoop
from controller.tick.law import design
from controller.tick.parameters import Controller
from controller.tuning.reduced import Ultimate, ultimate_point
from controller.tuning.rules import classical_rules
from experiments.design.tune.bound import Bound, finger_bound
from experiments.design.tune.cases import Population, measured_loop, population, usual_slope_error
from experiments.design.tune.confirm import SIMULATED, Confirmation, confirm
from experiments.design.tune.descent import Deciding, descend, judge_settings, tune_structure
from experiments.design.tune.limits import MarginLimit, largest_peak, with_peak
from experiments.design.tune.structures import STRUCTURES, Space, from_settings, space_of, to_settings
from experiments.design.tune.verdict import Deciders, Evaluation, evaluate, kept_fingers, left_behind, worst_of_kept
from experiments.rigs.rig import Rig, clamp
from experiments.subjects.finger import Finger
from plant.errors import InputError

Progress = Callable[[float], None] | None

NOMINAL_mmHg = 90.0  # arterial pressure of the plant that rules are computed for, as `margins` takes it
ROUNDS = 8  # of adding loops
FACTORS = np.geomspace(0.02, 5.0, 120)  # on a rule's gain
NOISY = 2  # noisiest fingers whose limits are computed beside that of the finger with the largest error
PLAINER = 0.01  # share of the error for which a plainer structure is preferred
PEAKS = (1.3, 1.4, 1.5, 1.6, 1.7, 1.8, 2.0, 2.3)  # of the trade-off
BACK_OFF = np.geomspace(1.0, 0.2, 16)  # on a start's gain, to where it keeps tighter limits
DIGITS = 5  # of every setting, so that the file holds what was judged


class Aims(NamedTuple):
    """What a tuning is for."""

    limits: tuple[MarginLimit, ...]
    percentile: float = 100.0  # of the fingers that must keep them and count [%]
    slope_error: float | None = None  # of the light slope; None: as much as the rig's search may be off
    structures: tuple[str, ...] = tuple(STRUCTURES)
    peaks: tuple[float, ...] = PEAKS  # bounds on the sensitivity of the trade-off
    simulated: int = SIMULATED  # fingers on which the outcome is confirmed
    plants: tuple[Rig, ...] = ()  # rigs that a bench left possible, one a finger; empty: the rig as it is
    measured: tuple[Correction, ...] = ()  # a measured response beside the twin: the mean, then a draw a finger


class Row(NamedTuple):
    """One line of the table: a setting and what it does to the fingers that count."""

    name: str
    found: Evaluation
    rms_mmHg: float
    missed: float  # largest shortfall, 0 or less where all limits are kept
    factor: float  # on a rule's own gain; 1 as published

    @property
    def kept(self) -> bool:
        """Whether every finger that counts keeps every limit."""
        return self.missed <= 0.0


class Point(NamedTuple):
    """One point of the trade-off."""

    largest_peak: float
    tuned_mmHg: float  # NaN where nothing was found
    limit_mmHg: float
    delay_bound_mmHg: float  # the limit with the delay margin guaranteed


@dataclass(frozen=True)
class Tuning:
    """All that `cuffloop tune` found."""

    rig: Rig
    group: str
    seed: int
    percentile: float
    slope_error: float
    limits: tuple[MarginLimit, ...]
    people: Population
    ultimate: Ultimate
    tuned: Row
    structures: tuple[Row, ...]  # the best of each
    shipped: Row
    published: tuple[Row, ...]  # rules as published
    scaled: tuple[Row, ...]  # the same at their best factor within the limits; absent where there is none
    bounds: tuple[Bound, ...]  # limits of the fingers with the largest errors
    trade_off: tuple[Point, ...]
    confirmations: tuple[Confirmation, ...]
    as_it_is: Row | None = None
    """The tuned setting on the rig, or the measured response, as it is, where else each finger has its own draw."""
    on_response: bool = False
    """Whether a measured response took the place of the twin of valve, line, cuff and transducer."""

    @property
    def best_rule(self) -> Row | None:
        """The classical rule that tracks best within the limits."""
        return min(self.scaled, key=lambda row: row.rms_mmHg, default=None)

    @property
    def limit(self) -> Bound:
        """The highest of the limits: what no controller gets below on every finger."""
        return max(self.bounds, key=lambda bound: -math.inf if math.isnan(bound.rms_mmHg) else bound.rms_mmHg)

    @property
    def passed(self) -> bool:
        """Whether settings were found that keep every limit, and the simulation bears them out."""
        return self.tuned.kept and not self.broken

    @property
    def broken(self) -> tuple[Confirmation, ...]:
        """The simulated fingers on which something breaks, or prediction and simulation part; at `percentile`, beyond
        those that may be left behind."""
        found = tuple(c for c in self.confirmations if c.broken)
        spared = math.floor(len(self.confirmations) * (1.0 - self.percentile / 100.0) + 1e-9)
        return found if len(found) > spared else ()


class _Bench:
    """What every part of a tuning needs: rig, population, and the loops that have decided so far."""

    def __init__(self, rig: Rig, people: Population, limits: tuple[MarginLimit, ...], percentile: float) -> None:
        self.rig, self.people, self.limits, self.period_s = rig, people, limits, rig.timing.period_s
        reference = self.evaluate(rig.controller)
        self.behind = left_behind(people, percentile)
        self.kept = kept_fingers(reference, self.behind)  # for the search; each row is judged by its own hardest few
        self.deciders = Deciders(people, self.kept, limits)
        self.deciders.absorb(reference)

    def evaluate(self, controller: Controller) -> Evaluation:
        return evaluate(self.people, controller, self.limits, self.period_s)

    def row(self, name: str, controller: Controller, factor: float = 1.0) -> Row:
        found = self.evaluate(controller)
        return Row(name, found, *worst_of_kept(found, kept_fingers(found, self.behind)), factor)

    def settle(self, name: str, solve: Callable[[Deciding], tuple[Controller, float] | None]) -> Row | None:
        """Solve on the deciding loops until all others agree; None when they have no solution."""
        row = None
        for _ in range(ROUNDS):
            solved = solve(self.deciders.deciding())
            if solved is None:
                return None
            row = self.row(name, *solved)
            if not self.deciders.absorb(row.found):
                break
        return row

    def under(self, limits: tuple[MarginLimit, ...]) -> _Bench:
        other = object.__new__(_Bench)
        other.rig, other.people, other.limits, other.period_s = self.rig, self.people, limits, self.period_s
        other.behind, other.kept, other.deciders = self.behind, self.kept, self.deciders.copy(limits)
        return other


def nominal_loop(rig: Rig, measured: Correction | None = None) -> OpenLoop:
    """The loop that rules are computed for: the rig's own finger at NOMINAL_mmHg, the valve's first side."""
    point = clamp(rig, NOMINAL_mmHg, rig.tone.level)
    coefficients = design(rig.controller, rig.timing.period_s)
    loop = build_loop(rig.plant, point, sides(rig.plant)[0], rig.timing, rig.stage, coefficients)
    return measured_loop(loop, measured)


def tune(
    rig: Rig, fingers: list[Finger], aims: Aims, group: str = "mixed", seed: int = 1, progress: Progress = None
) -> Tuning:
    """Tune a rig for a population, over the structures and the bounds on the sensitivity that `aims` names.

    Raises InputError when too few of the fingers can be clamped at all.
    """
    def told(start: float, end: float) -> Progress:
        return None if progress is None else lambda share: progress(start + share * (end - start))

    limits, percentile, slope_error, structures, peaks, simulated, plants, measured = aims
    slope_error = usual_slope_error(rig) if slope_error is None else slope_error
    people = population(rig, fingers, slope_error, told(0.0, 0.35), plants, measured[1:])
    left_behind(people, percentile)
    loop = nominal_loop(rig, measured[0] if measured else None)
    ultimate = ultimate_point(loop)
    rules = classical_rules(loop, rig.controller, rig.timing.period_s)
    bench = _Bench(rig, people, limits, percentile)
    published, scaled = _rules(bench, rules, told(0.35, 0.5))
    starts = [rig.controller, *(r.found.controller for r in scaled)]
    best_of = _structures(bench, ultimate, structures, starts, told(0.5, 0.65))
    least = min((s.rms_mmHg for s in best_of if s.kept), default=math.inf)
    tuned = next((s for s in best_of if s.kept and s.rms_mmHg <= (1.0 + PLAINER) * least), best_of[-1])
    space = space_of(tuned.name, ultimate, rig.controller, rig.timing.period_s)
    shipped = bench.row("as shipped", rig.controller)
    own = population(rig._replace(controller=tuned.found.controller), fingers, slope_error, told(0.65, 0.78), plants,
                     measured[1:])
    bench, tuned = _with_its_own_tone(bench, own, percentile, space, tuned)
    people = bench.people
    others = [r.found.controller for r in (tuned, *best_of, *scaled)]
    trade_off, better = _trade_off(bench, space, tuned, others, peaks, told(0.8, 0.93))
    if better.kept and (better.rms_mmHg < tuned.rms_mmHg or not tuned.kept):
        # reached from looser limits, which the direct search did not
        best_of = [better._replace(name=s.name) if s.name == space.structure else s for s in best_of]
        tuned = better._replace(name=tuned.name)
    bounds = tuple(finger_bound(people.cases[i], design(tuned.found.controller, rig.timing.period_s), limits)
                   for i in _limiting(bench, tuned))
    confirmations: tuple[Confirmation, ...] = ()
    if tuned.kept:
        confirmations = confirm(people, tuned.found, limits, seed, told(0.95, 1.0), simulated)
    as_it_is = None
    if plants or measured:
        found_rig = rig._replace(controller=tuned.found.controller)
        same = _Bench(found_rig, population(found_rig, fingers, slope_error, corrections=measured[:1]), limits,
                      percentile)
        name = "on the response as it is" if measured else "on the rig as it is"
        as_it_is = same.row(name, tuned.found.controller)
    return Tuning(rig, group, seed, percentile, slope_error, limits, people, ultimate, tuned, tuple(best_of),
                  shipped, tuple(published), tuple(scaled), bounds, trade_off, confirmations, as_it_is, bool(measured))


def _rules(bench: _Bench, rules: dict[str, Controller], progress: Progress) -> tuple[list[Row], list[Row]]:
    """Each rule as published, and at its best factor."""
    published, scaled = [], []
    for done, (name, controller) in enumerate(rules.items()):
        row = bench.row(name, controller)
        published.append(row)

        def best_factor(deciding: Deciding, controller: Controller = controller) -> tuple[Controller, float] | None:
            return _best_factor(controller, deciding, bench.period_s)

        found = bench.settle(name, best_factor)
        if found is not None and found.kept:
            scaled.append(found)
        if progress is not None:
            progress((done + 1) / len(rules))
    return published, scaled


def _best_factor(
    controller: Controller, deciding: Deciding, period_s: float, factors: NDArray[np.float64] = FACTORS, looks: int = 2,
) -> tuple[Controller, float] | None:
    """A controller's gain scaled to where it tracks best within the limits, on a ladder and then between its rungs."""
    best = None
    for _ in range(looks):
        tried = [rounded(controller._replace(kp=controller.kp * float(f))) for f in factors]
        judged = judge_settings(tried, deciding, period_s)
        error = np.where(np.max(judged.shortfall, axis=1) <= 0.0, np.max(judged.log_rms, axis=1), math.inf)
        i = int(np.argmin(error))
        if not math.isfinite(error[i]):
            return best
        best = tried[i], float(factors[i])
        factors = np.linspace(factors[max(i - 1, 0)], factors[min(i + 1, len(factors) - 1)], 60)
    return best


def _structures(
    bench: _Bench, ultimate: Ultimate, structures: tuple[str, ...], starts: list[Controller], progress: Progress
) -> list[Row]:
    """The best settings of every structure, plainest first; each also starts from what the plainer ones found."""
    found: list[Row] = []
    for done, structure in enumerate(structures):
        space = space_of(structure, ultimate, bench.rig.controller, bench.period_s)
        own: list[Controller] = []

        def best(deciding: Deciding, space: Space = space, own: list[Controller] = own
                 ) -> tuple[Controller, float] | None:
            given = own or [*starts, *(r.found.controller for r in found)]
            result = tune_structure(space, ultimate.gain, deciding, given, screened=not own)
            own[:] = [result.controller]
            return rounded(result.controller), 1.0

        row = bench.settle(structure, best)
        if row is not None:
            found.append(row)
        if progress is not None:
            progress((done + 1) / len(structures))
    return found


def _with_its_own_tone(
    bench: _Bench, people: Population, percentile: float, space: Space, tuned: Row
) -> tuple[_Bench, Row]:
    """The population as the tuned rig finds it, and the settings mended there.

    A rig hears its light slope by a tone at its own crossover: with another crossover the slope, and so the loop gain,
    is another on every finger.
    """
    rig = bench.rig._replace(controller=tuned.found.controller)
    own = _Bench(rig, people, bench.limits, percentile)

    def mended(deciding: Deciding) -> tuple[Controller, float] | None:
        backed = _best_factor(tuned.found.controller, deciding, bench.period_s, BACK_OFF, 1)
        start = backed[0] if backed is not None else tuned.found.controller
        x, _, missed = descend(space, from_settings(space, start), deciding)
        return (rounded(to_settings(space, x)), 1.0) if missed <= 0.0 else backed

    name = f"tuned: {space.structure}"
    return own, own.settle(name, mended) or own.row(name, tuned.found.controller)


def _limiting(bench: _Bench, tuned: Row) -> list[int]:
    """Fingers whose limit may be the highest: that with the largest error, and those with the most noise."""
    found = tuned.found
    counted = bench.kept.error & np.isfinite(found.rms_mmHg)
    worst = int(np.argmax(np.where(counted, found.rms_mmHg, -math.inf)))
    noisy = np.argsort(-np.where(counted, found.noise_mmHg, -math.inf), kind="stable")[:NOISY]
    return list(dict.fromkeys([worst, *(int(i) for i in noisy)]))


def _trade_off(
    bench: _Bench, space: Space, tuned: Row, others: list[Controller], wanted: tuple[float, ...], progress: Progress
) -> tuple[tuple[Point, ...], Row]:
    """Tuned settings and limit under tighter and looser bounds on the sensitivity, other limits as they are.

    From loose to tight, each outcome is the next start, beside `others`. Returns the best row at the bound that was
    asked for, too.
    """
    asked = largest_peak(bench.limits)
    peaks = sorted({*wanted, asked}, reverse=True)
    start, rows, bounds = tuned.found.controller, [], []
    coefficients = design(tuned.found.controller, bench.period_s)
    for done, peak in enumerate(peaks):
        other = bench.under(with_peak(bench.limits, peak))
        own: list[Controller] = []

        def best(
            deciding: Deciding, start: Controller = start, own: list[Controller] = own
        ) -> tuple[Controller, float] | None:
            tried = [to_settings(space, from_settings(space, c)) for c in [start, *(own or others)]]
            backed = [b for c in tried if (b := _best_factor(c, deciding, bench.period_s, BACK_OFF, 1)) is not None]
            if not backed:
                return None
            backed.sort(key=lambda b: float(np.max(judge_settings([b[0]], deciding, bench.period_s).log_rms)))
            ends = [descend(space, from_settings(space, b[0]), deciding) for b in backed[:2]]
            x, _, missed = min(ends, key=lambda end: end[1])
            own[:] = [to_settings(space, x)]
            return (rounded(own[0]), 1.0) if missed <= 0.0 else None

        row = other.settle("tuned", best)
        rows.append(row if row is not None and row.kept else None)
        start = row.found.controller if row is not None and row.kept else start
        found = [finger_bound(bench.people.cases[i], coefficients, other.limits, quick=True)
                 for i in _limiting(bench, tuned)]
        bounds.append((_highest([b.rms_mmHg for b in found]), _highest([b.delay_bound_mmHg for b in found])))
        if progress is not None:
            progress((done + 1) / len(peaks))
    at = peaks.index(asked)
    better = rows[at]
    best_row = tuned if better is None else bench.row(tuned.name, better.found.controller)
    least, points = math.inf, []
    for peak, row, bound in reversed(list(zip(peaks, rows, bounds, strict=True))):  # what keeps a tight bound, keeps
        values = [least] if row is None else [least, row.rms_mmHg]  # a loose one
        least = min([*values, tuned.rms_mmHg] if peak >= asked and tuned.kept else values)
        points.append(Point(peak, least if math.isfinite(least) else math.nan, *bound))
    return tuple(points), best_row


def _highest(values: list[float]) -> float:
    """The largest that is a number."""
    return max((v for v in values if math.isfinite(v)), default=math.nan)


def rounded(controller: Controller) -> Controller:
    """A controller with every number to DIGITS significant digits, as it is written."""
    def short(value: Any) -> Any:
        return float(f"{value:.{DIGITS}g}") if isinstance(value, float) else value

    return Controller(*(short(value) for value in controller))


def check_options(fingers: int, percentile: float, slope_error: float | None, simulated: int = SIMULATED) -> None:
    """Raise InputError for options out of range."""
    for option, value, low, high in (("--fingers", fingers, 1, 100_000), ("--percentile", percentile, 50.0, 100.0),
                                     ("--slope-error", slope_error or 0.0, 0.0, 0.3),
                                     ("--simulated", simulated, 1, 1000)):
        if not low <= value <= high:
            raise InputError(f"{option} {value:g} must be from {low:g} to {high:g}")
