"""The identification: search, polish, intervals, what is left over, and what is not told.

What scales the rest (a measured volume) is held while the others are found; what it may be off by is carried through by
the chain rule, dθ/dk = −(JᵀJ)⁻¹JᵀJ_k. Residuals are tested with it freed within its uncertainty, so that a volume that
is off by what was said of it is no fault of the model; a pull beyond that is.
"""
from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.identify.fit.lags import swapped_lags
from experiments.identify.fit.problem import (
    FINE,
    MIDDLE,
    Problem,
    evaluate,
    held_out,
    offsets,
    with_steps,
)
from experiments.identify.fit.profile import Interval, profile
from experiments.identify.fit.residual_tests import Leftover, leftover
from experiments.identify.fit.solve import Solution, covariance, gauss_newton, polished, several, solve, weakness
from experiments.identify.fit.structure import Confounded, confounded, lags_in_series
from experiments.identify.light.bench import LightBench
from experiments.identify.recording.recording import Recording
from experiments.identify.replay.candidates import Free, value_of

Samples = NDArray[np.float64]
STARTS, SPREAD = 4, 0.5  # how often, and how far from the rig that is believed in
ENOUGH = 1.1  # mean square of residuals over noise: more is a search that has not arrived, or another model
UNTOLD = 0.25  # relative standard uncertainty: a number that is not told better is not told
PULL = 3.5  # standard uncertainties by which recordings may pull what was measured otherwise
CLOSE = 1e-8  # relative, of a cost of some ten thousands: far below what moves an interval
EDGE = 1e-4  # of the range, in the search's coordinates


class Held(NamedTuple):
    """A number that was measured otherwise, or is only believed."""

    free: Free
    value: float
    sd: float  # standard uncertainty, in its unit
    assumed: bool  # nobody has told it


class Found(NamedTuple):
    """One number that was looked for."""

    free: Free
    value: float
    sd: float  # standard uncertainty, in its unit, with what is held carried through
    interval: Interval  # 95 %, of the recordings alone
    told: bool
    why: str  # where it is not told
    by_held: tuple[float, ...]  # relative change by one of each held number


class Identified(NamedTuple):
    """All of it."""

    problem: Problem
    held: tuple[Held, ...]
    found: tuple[Found, ...]
    covariance: Samples  # of the numbers as the search sees them, then of those that are held
    solution: Solution
    leftovers: tuple[Leftover, ...]
    pulls: tuple[float, ...]  # of each held number, in its standard uncertainties
    confounded: tuple[Confounded, ...]
    condition: float
    weakest: str
    agreeing_starts: int  # that ended in the same place
    tried_starts: int
    offset_mmHg: float
    twin: Samples | None  # other values that explain the recordings as well

    @property
    def fits(self) -> bool:
        """Whether nothing but noise is left over, in holdouts too, and nothing that was measured is contradicted."""
        return all(left.is_noise for left in self.leftovers) and all(abs(pull) <= PULL for pull in self.pulls)

    @property
    def all_told(self) -> bool:
        """Whether every number that was looked for is told."""
        return all(one.told for one in self.found)


def identify(
    problem: Problem, held: Sequence[Held], seed: int = 1, starts: int = STARTS, full: bool = True,
    report: Callable[[float], None] | None = None,
) -> Identified:
    """Find a problem's numbers. `full` asks for profile likelihoods; without, intervals are Fisher's."""
    tell = report or (lambda share: None)
    to_fit = [one for one in problem.recordings if not one.holdout]
    aside = [one for one in problem.recordings if one.holdout]
    wanted = held_out(problem, to_fit)
    solution, agreeing, tried = search(wanted, seed, starts, lambda share: tell(0.6 * share))
    fine = with_steps(wanted, solution.x, FINE)
    solution = settled(fine, solution)
    spread, whole, carried = spreads(fine, solution, held)
    weak = weakness(solution.jacobian)
    rivals, twin = not_apart(problem, fine, solution)
    tell(0.7)
    found = []
    fewer, near = with_fewer_steps(wanted, solution) if full else (fine, solution)
    for k in range(len(problem.free)):
        interval = profile(fewer, near, spread, k, full, solution.x)
        found.append(one_found(fine, solution, (whole, spread), k, interval, rivals, carried[k]))
        tell(0.7 + 0.2 * (k + 1) / len(problem.free))
    freed, pulls = released(fine, solution, held)
    lefts = [left for part in (to_fit, aside) for left in leftovers(freed[0], freed[1], part)]
    reading = offsets(fine, solution.x)
    tell(1.0)
    return Identified(
        problem, tuple(held), tuple(found), whole, solution, tuple(lefts), pulls, tuple(rivals), weak.condition,
        in_words(problem.free, weak.direction), agreeing, tried, float(np.mean(reading)) if reading else 0.0, twin,
    )


def spreads(fine: Problem, solution: Solution, held: Sequence[Held]) -> tuple[Samples, Samples, Samples]:
    """Covariance of the recordings alone, the joint one with what is held, and what each held number carries."""
    count = len(fine.free)
    _, jacobian = evaluate(fine, solution.x, known_too=True)
    own, by_known = jacobian[:, :count], jacobian[:, count:]
    spread = covariance(own)
    carried = np.array([gauss_newton(column, own) for column in by_known.T]).T.reshape(count, len(held))
    sizes = np.array([h.sd / h.free.slope(h.value) for h in held])
    shared = carried * sizes**2
    return spread, np.block([[spread + shared @ carried.T, shared], [shared.T, np.diag(sizes**2)]]), carried


def not_apart(problem: Problem, fine: Problem, solution: Solution) -> tuple[list[Confounded], Samples | None]:
    """Numbers that cannot be told apart by their kind, or because other values fit as well; and those values."""
    if isinstance(problem.bench, LightBench):
        return [], None
    rig, names = problem.bench.rig, {f.name for f in problem.free}
    rivals = confounded(rig, names, problem.recordings)
    lags = lags_in_series(rig, names, problem.recordings)
    twin = exchanged(fine, solution, lags)
    return rivals + [group for group in lags if twin is not None and group not in rivals], twin


def search(
    problem: Problem, seed: int, starts: int, report: Callable[[float], None]
) -> tuple[Solution, int, int]:
    """The best of some starts, the rig that is believed in first; how many ended there, and how many were tried."""
    random = np.random.Generator(np.random.PCG64(seed))
    low, high = problem.bounds
    believed = np.array([f.inside(value_of(problem.bench.rig, f.name)) for f in problem.free])
    reach = np.array([1.0 if f.logarithmic else 0.1 for f in problem.free])
    moves = np.log1p(random.uniform(-SPREAD, SPREAD, (starts - 1, len(believed))))
    places = [believed, *(np.clip(believed + reach * move, low, high) for move in moves)]
    total = sum(len(one.command) * len(problem.channels(one)) for one in problem.recordings)
    enough = 0.5 * ENOUGH * total

    def watched(x: Samples) -> tuple[Samples, Samples]:
        counter[0] += 1
        report(min(counter[0] / 120.0, 1.0))
        return evaluate(problem, x)

    counter = [0]
    found = several(watched, places, problem.bounds, enough)
    near = sum(one.cost - found[0].cost < 0.01 * found[0].cost for one in found)
    return found[0], near, len(found)


def with_fewer_steps(wanted: Problem, solution: Solution) -> tuple[Problem, Solution]:
    """The problem with steps that are enough for how the sum of squares rises, and its own end beside the solution."""
    fewer = with_steps(wanted, solution.x, MIDDLE)
    residuals, jacobian = evaluate(fewer, solution.x)
    start = Solution(solution.x, residuals, jacobian, 0.5 * float(residuals @ residuals), 1, 0)
    return fewer, polished(lambda x: evaluate(fewer, x), start, fewer.bounds, 2)


def settled(fine: Problem, solution: Solution) -> Solution:
    """The same, followed finely: solver again, then undamped steps."""
    again = solve(lambda x: evaluate(fine, x), solution.x, fine.bounds, 15, number=solution.start, close=CLOSE)
    done = polished(lambda x: evaluate(fine, x), again, fine.bounds, 2)
    return done._replace(evaluations=solution.evaluations + done.evaluations)


def released(
    fine: Problem, solution: Solution, held: Sequence[Held]
) -> tuple[tuple[Problem, Samples], tuple[float, ...]]:
    """The fit with what is held freed within its uncertainty, and how far the recordings pull each of them."""
    loose = [h for h in held if h.sd > 0.0]
    if not loose:
        return (fine, solution.x), tuple(0.0 for _ in held)
    names = {h.free.name for h in loose}
    wider = fine._replace(free=(*fine.free, *(h.free for h in loose)),
                          known=tuple(pair for pair in fine.known if pair[0].name not in names))
    centre = np.array([h.free.inside(h.value) for h in loose])
    weight = np.array([h.free.slope(h.value) / h.sd for h in loose])
    count = len(solution.x)
    rows = np.hstack([np.zeros((len(loose), count)), np.diag(weight)])

    def with_belief(x: Samples) -> tuple[Samples, Samples]:
        residuals, jacobian = evaluate(wider, x)
        return np.concatenate([residuals, weight * (x[count:] - centre)]), np.vstack([jacobian, rows])

    end = solve(with_belief, np.concatenate([solution.x, centre]), wider.bounds, 12, close=CLOSE)
    pulled = dict(zip([h.free.name for h in loose], weight * (end.x[count:] - centre), strict=True))
    return (wider, end.x), tuple(float(pulled.get(h.free.name, 0.0)) for h in held)


def leftovers(problem: Problem, x: Samples, recordings: Sequence[Recording]) -> list[Leftover]:
    """What is left over of some recordings at `x`, channel by channel."""
    found = []
    for recording in recordings:
        alone = held_out(problem, [recording])
        residuals, _ = evaluate(alone, x)
        count = len(recording.command)
        for i, name in enumerate(problem.channels(recording)):
            part = residuals[i * count : (i + 1) * count]
            found.append(leftover(part, recording.command, recording.name, name, recording.noise[name],
                                  recording.holdout))
    return found


def one_found(
    fine: Problem, solution: Solution, spreads: tuple[Samples, Samples], k: int, interval: Interval,
    rivals: Sequence[Confounded], carried: Samples,
) -> Found:
    """One number with its uncertainty, and whether it is told; `spreads` are joint and of the recordings alone."""
    whole, spread = spreads
    free = fine.free[k]
    value = free.outside(float(solution.x[k]))
    relative = float(np.sqrt(spread[k, k])) if np.isfinite(spread[k, k]) else np.inf
    sd = float(np.sqrt(whole[k, k])) * free.slope(value) if np.isfinite(whole[k, k]) else np.inf
    low, high = fine.bounds
    why = ""
    for group in rivals:
        if free.name in group.names:
            others = ", ".join(n for n in group.names if n != free.name)
            why = f"not told apart from {others}: {group.why}; {group.cure}"
    if not why and min(solution.x[k] - low[k], high[k] - solution.x[k]) < EDGE * (high[k] - low[k]):
        why = f"at the end of its range ({value:.4g} {free.unit})"
    if not why and (relative > UNTOLD if free.logarithmic else not np.isfinite(relative)):
        why = "these recordings do not tell it"
    if not why and not (interval.closed_below and interval.closed_above):
        why = "its likelihood stays high as far as it was followed"
    return Found(free, value, sd, interval, not why, why, tuple(float(c) for c in carried))


def in_words(free: Sequence[Free], direction: Samples) -> str:
    """The combination that is told least, as a product of powers."""
    largest = int(np.argmax(np.abs(direction)))
    scaled = direction / direction[largest]
    terms = [f"{f.name}^{c:+.2f}" for f, c in zip(free, scaled, strict=True) if abs(c) > 0.2]
    return " · ".join(terms)


def exchanged(fine: Problem, solution: Solution, rivals: Sequence[Confounded]) -> Samples | None:
    """Other values that explain the recordings as well: two lags in series with their places changed."""
    for group in rivals:
        start = swapped_lags(fine, solution.x, group.names)
        if start is not None:
            other = solve(lambda x: evaluate(fine, x), start, fine.bounds, 20)
            if other.cost - solution.cost < 0.5 * 3.84 and np.max(np.abs(other.x - solution.x)) > 0.02:
                return other.x
    return None
