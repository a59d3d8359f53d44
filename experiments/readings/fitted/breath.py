"""By how much stroke volume varies with the breath more than the pulse that shows it, on virtual people.

Each breathes at a rate, with an amplitude in stroke volume and one in the interval, which are drawn anew for every
record; the variation of the true strokes is held against that of Liljestrand–Zander, both by the same fit.
"""
from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.readings.beats.stream import beats_of
from experiments.readings.chain.truth import strokes_at
from experiments.readings.fitted.breath_law import FILE, as_plain
from experiments.readings.output.breath_gain import BreathLaw, breath_features, terms
from experiments.readings.output.estimators import ESTIMATORS
from experiments.readings.output.variation import fit_percent
from experiments.readings.people.wearer import wearer_of
from experiments.readings.servo.inverse import undone
from plant.circulation.heartbeats import Rhythm
from plant.circulation.person import drawn_person
from plant.circulation.person_pressure import person_record

Samples = NDArray[np.float64]
BREATHS_per_min = (9.0, 20.0)  # of somebody who is ventilated
VOLUME, INTERVAL, INTERVAL_SD = (0.025, 0.1), (0.0, 0.025), (0.003, 0.012)  # amplitudes and the rest, as shares
READ_s, SECONDS = 4e-3, 45.0
FITTED, RECORDS = range(200), 3  # people, none of whom is judged, and records of each
RIDGE = 3e-4  # chosen like the features by cross-validation among those who are fitted on
FOLDS = 10


class Breathing(NamedTuple):
    """One record of one person."""

    seed: int
    true_percent: float  # variation of stroke volume
    read_percent: float  # of the estimator, before any gain
    features: Samples
    signal: float


def drawn_rhythm(seed: int, number: int = 0) -> Rhythm:
    """How somebody breathes in the record of that number."""
    random = np.random.Generator(np.random.PCG64([seed, 1 + number]))
    return Rhythm(*(float(random.uniform(*ends)) for ends in (BREATHS_per_min, VOLUME, INTERVAL, INTERVAL_SD)))


def breathing(seed: int, number: int = 0) -> Breathing:
    """Somebody who is drawn, breathing as is drawn, too. The same seed and number give the same."""
    person, state = drawn_person(seed)
    rhythm = drawn_rhythm(seed, number)
    record = person_record(person, state, rhythm, READ_s, SECONDS, seed + 1000 * number)
    beats, rate = beats_of(undone(record.finger_mmHg, READ_s, None), READ_s), rhythm.breaths_per_min / 60.0
    true, read = strokes_at(record, beats.onset_s), ESTIMATORS["Liljestrand–Zander"](beats)
    kept = beats.counts & np.isfinite(true) & np.isfinite(read)
    own, seen = (fit_percent(beats.onset_s[kept], values[kept], rate)[0] for values in (true, read))
    return Breathing(seed, own, seen, *breath_features(beats, kept, rate, wearer_of(person)))


def fit_breath(rows: list[Breathing]) -> BreathLaw:
    """The law of some records; its SD is that of people who are left out in turn."""
    features = np.array([row.features for row in rows])
    wanted = np.log([row.true_percent / row.read_percent for row in rows])
    usual = np.stack([np.mean(features, axis=0), np.std(features, axis=0)])
    columns, fold = terms(usual, features), np.array([row.seed % FOLDS for row in rows])
    left = np.zeros(len(rows))
    for number in range(FOLDS):
        out = fold == number
        left[out] = wanted[out] - columns[out] @ _ridge(columns[~out], wanted[~out])
    return BreathLaw(usual, _ridge(columns, wanted), float(np.sqrt(np.mean(left**2))))


def _ridge(columns: Samples, wanted: Samples) -> Samples:
    """Weights by least squares with a penalty on all but the first, which is that of ones."""
    own, middle = columns[:, 1:], np.mean(columns[:, 1:], axis=0)
    centred = own - middle
    normal = centred.T @ centred + RIDGE * len(own) * np.eye(own.shape[1])
    weights = np.linalg.solve(normal, centred.T @ (wanted - np.mean(wanted)))
    return np.concatenate([[np.mean(wanted) - middle @ weights], weights])


def write_breath(folder: Path, people: Iterable[int] = FITTED, records: int = RECORDS) -> None:
    """Fit, and write the file into a folder: a minute and a half of one core for all of them."""
    rows = [breathing(seed, number) for seed in people for number in range(records)]
    text = json.dumps(as_plain(fit_breath(rows)), indent=1)
    (folder / FILE.name).write_text(text + "\n", encoding="utf-8")
