"""From virtual people in nine states to the constants of the readings. Nobody who is judged takes part."""
from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.readings.arm.transfer import Transfer, beat_to_arm, features_of, fit_transfer
from experiments.readings.arm.tube import tube_beat
from experiments.readings.arm.values import PRESSURES, arm_features, finger_values
from experiments.readings.beats.delineate import Marks, marks_of
from experiments.readings.beats.reasons import Reason
from experiments.readings.beats.stream import Beat, Beats, columns
from experiments.readings.fitted.store import Constants
from experiments.readings.fitted.tenths import best_share, held_out, least_squares, ridge, spread_by_decade
from experiments.readings.output.estimators import ESTIMATORS, SHAPE, shape_features
from experiments.readings.output.stroke import Law, quadratic
from experiments.readings.people.population import Case
from experiments.readings.people.wearer import Wearer, wearer_of
from experiments.readings.servo.band import banded

Samples = NDArray[np.float64]
PERIOD_s = 2e-3
COPIES = 4  # of every beat, each with errors of its own
# SD of SHAPE_FEATURES after a servo, as a valve that can give no more flow bends the steepest upstrokes; chosen on
# people who are fitted on, by both built-in rigs
LEFT = np.array([0.0, 0.0, 0.0, 0.02, 0.006, 0.02, 0.02, 0.06, 0.04, 0.01])
APART_s = 100.0  # between the beats of different states, so that no slow mean joins them


class Seen(NamedTuple):
    """What an instrument could see of one state, and the truth beside it."""

    wearer: Wearer
    interval_s: float
    finger_mmHg: Samples  # one beat, within the band that a clamp is read in
    arm_mmHg: Samples
    stroke_mL: float
    seed: int
    number: int


def seen(case: Case) -> Seen:
    """One state without what nobody can see."""
    interval_s = 60.0 / case.state.rate_per_min
    return Seen(wearer_of(case.person), interval_s, banded(case.steady.finger_mmHg, interval_s), case.steady.arm_mmHg,
                case.state.stroke_mL, case.seed, case.number)


def one_beat(pressure_mmHg: Samples, interval_s: float) -> Marks:
    """Marks of a beat that is repeated for ever, from its foot on."""
    start = int(np.argmin(pressure_mmHg))
    turned = np.roll(pressure_mmHg, -start)
    count = round(interval_s / PERIOD_s)
    grid = np.arange(len(turned)) * interval_s / len(turned)
    wave = np.interp(np.arange(count + 1) * PERIOD_s, grid, turned, period=interval_s)
    return marks_of(wave, PERIOD_s)


def row_of(one: Seen) -> Samples:
    """Features of the filter."""
    return features_of(one.wearer, float(np.mean(one.finger_mmHg)), one.interval_s)


def estimated_arm(transfer: Transfer, one: Seen) -> Samples:
    """The upper arm's beat as estimated from the finger's."""
    return beat_to_arm(transfer, row_of(one), one.finger_mmHg, one.interval_s)


def beats_at(waves: list[Samples], cases: list[Seen]) -> Beats:
    """One steady beat of each case, far apart in time."""
    rows = [Beat(APART_s * k, one_beat(wave, one.interval_s), Reason.NONE)
            for k, (wave, one) in enumerate(zip(waves, cases, strict=True))]
    return columns(rows)


def against_rest(cases: list[Seen], log_error: Samples) -> Samples:
    """Log errors of states once the constant of the same person at rest is taken; of rest itself nan."""
    rest = {one.seed: float(e) for one, e in zip(cases, log_error, strict=True) if one.number == 0}
    return np.array([np.nan if one.number == 0 else e - rest[one.seed]
                     for one, e in zip(cases, log_error, strict=True)])


def people_of(cases: list[Seen]) -> NDArray[np.int64]:
    """Whose each case is."""
    return np.array([one.seed for one in cases], np.int64)


def within_people(cases: list[Seen], values: Samples) -> Samples:
    """Values less the mean of the same person, along the first axis."""
    _, number = np.unique([one.seed for one in cases], return_inverse=True)
    sums = np.zeros((number.max() + 1, *values.shape[1:]))
    np.add.at(sums, number, values)
    return np.asarray(values - (sums / np.bincount(number).reshape(-1, *[1] * (values.ndim - 1)))[number])


def raw_of(name: str, law: Law, beats: Beats, cases: list[Seen], change: bool) -> Samples:
    """An estimator for the one beat of every case."""
    build = np.array([one.wearer.build for one in cases])
    if name != SHAPE:
        return ESTIMATORS[name](beats) ** (build[:, :2] @ law.change_shape if change else 1.0)
    if change:
        return np.asarray(np.exp(aged_features(beats, cases) @ law.change_shape))
    return np.asarray(np.exp(quadratic(shape_features(beats), law.usual, build[:, 1]) @ law.shape))


def aged_features(beats: Beats, cases: list[Seen]) -> Samples:
    """Features of shape, and the same times age, for the one beat of every case."""
    features, ages = shape_features(beats), np.array([one.wearer.build[1] for one in cases])[:, None]
    return np.concatenate([features, features * ages], axis=1)


def disturbed(features: Samples) -> list[Samples]:
    """Features as servos might show them, whose error is then no reason to lean on what only a perfect clamp tells."""
    random = np.random.Generator(np.random.PCG64(COPIES))
    return [features + LEFT * random.standard_normal(features.shape) for _ in range(COPIES)]


def fit_law(name: str, beats: Beats, cases: list[Seen]) -> Law:
    """Constants of one estimator, from the finger's beats; spreads are those of people who are held out."""
    truth, people = np.log(np.array([one.stroke_mL for one in cases])), people_of(cases)
    build, ages = np.array([one.wearer.build for one in cases]), np.array([one.wearer.age_years for one in cases])
    usual, none = np.empty(0), np.empty(0)
    fit: Callable[[Samples, Samples], Samples] = least_squares
    if name == SHAPE:
        features = shape_features(beats)
        usual = np.stack([np.mean(features, axis=0), np.std(features, axis=0)])
        seen_so = [features, *disturbed(features)]
        clean, *off = (np.concatenate([build, quadratic(one, usual, build[:, 1])], axis=1) for one in seen_so)
        rows, target, whose = np.concatenate(off), np.tile(truth, len(off)), np.tile(people, len(off))
        fit = partial(ridge, share=best_share(whose, rows, target))
        asked = np.tile(clean, (len(off), 1))
        changing = aged_features(beats, cases)
    else:
        plain = np.log(ESTIMATORS[name](beats))
        rows, target, whose, asked = build, truth - plain, people, None
        changing = plain[:, None] * build[:, :2]
    error = (held_out(whose, rows, target, fit, asked) - target)[: len(people)]
    found = fit(rows, target)
    moved, true = within_people(cases, changing), within_people(cases, truth)
    followed = held_out(people, moved, true, least_squares, changing)
    change = against_rest(cases, followed - truth)
    kept = np.isfinite(change)
    return Law(found[: build.shape[1]], found[build.shape[1] :] if name == SHAPE else none,
               least_squares(moved, true), spread_by_decade(error, ages),
               spread_by_decade(change[kept], ages[kept]), float(np.mean(np.exp(truth))), usual)


def truth_values(cases: list[Seen]) -> Samples:
    """Systolic, mean and diastolic pressure of the upper arm, (cases, 3)."""
    return np.array([(np.max(one.arm_mmHg), np.mean(one.arm_mmHg), np.min(one.arm_mmHg)) for one in cases])


def feature_rows(beats: Beats, cases: list[Seen]) -> Samples:
    """Features of the arm's law for the one beat of every case."""
    return np.concatenate([arm_features(one.wearer, beats.where(np.arange(len(cases)) == k))
                           for k, one in enumerate(cases)])


def tube_errors(cases: list[Seen]) -> Samples:
    """What the tube makes of each finger's beat less the truth, (cases, 3)."""
    waves = [tube_beat(one.wearer, one.finger_mmHg, one.interval_s) for one in cases]
    return np.array([(np.max(w), np.mean(w), np.min(w)) for w in waves]) - truth_values(cases)


def spreads(cases: list[Seen], left: Samples) -> tuple[dict[str, Samples], dict[str, Samples]]:
    """Spread of errors (cases, 3) by decade of age: at large about their mean of 0, and of changes since rest."""
    ages = np.array([one.wearer.age_years for one in cases])
    large, change = dict[str, Samples](), dict[str, Samples]()
    for k, name in enumerate(PRESSURES):
        moved = against_rest(cases, left[:, k])
        kept = np.isfinite(moved)
        large[name] = spread_by_decade(left[:, k], ages)
        change[name] = spread_by_decade(moved[kept], ages[kept])
    return large, change


def fit_constants(cases: list[Seen]) -> Constants:
    """All constants from the cases that are fitted on."""
    transfer = fit_transfer([(row_of(one), one.finger_mmHg, banded(one.arm_mmHg, one.interval_s), one.interval_s)
                             for one in cases])
    beats = beats_at([one.finger_mmHg for one in cases], cases)
    rows, wanted = feature_rows(beats, cases), truth_values(cases) - finger_values(beats)
    left = wanted - held_out(people_of(cases), rows, wanted, least_squares)
    laws = {name: fit_law(name, beats, cases) for name in (*ESTIMATORS, SHAPE)}
    by_law, by_tube = spreads(cases, left), spreads(cases, tube_errors(cases))
    return Constants(transfer, laws, least_squares(rows, wanted).T, *by_law, *by_tube)
