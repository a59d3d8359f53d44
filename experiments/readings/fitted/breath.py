"""By how much stroke volume varies with the breath more than the pulse that shows it, on virtual people.

Each breathes at a rate, with an amplitude in stroke volume and one in the interval of their own, which are drawn; the
variation of the true strokes is held against that of Liljestrand–Zander, both by the same fit.
"""
from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.readings.beats.stream import beats_of
from experiments.readings.chain.truth import strokes_at
from experiments.readings.output.estimators import ESTIMATORS
from experiments.readings.output.variation import fit_percent
from plant.circulation.heartbeats import Rhythm
from plant.circulation.person import drawn_person
from plant.circulation.person_pressure import person_record

Samples = NDArray[np.float64]
BREATHS_per_min = (10.0, 18.0)  # of somebody who is ventilated
VOLUME, INTERVAL = (0.025, 0.1), (0.0, 0.015)  # amplitudes, as shares
READ_s, SECONDS = 4e-3, 45.0


class Breathing(NamedTuple):
    """Variations of one person [%]."""

    true_percent: float
    read_percent: float  # by the estimator, before any gain


def breathing(seed: int, estimator: str = "Liljestrand–Zander") -> Breathing:
    """Somebody who is drawn, breathing as is drawn, too. The same seed gives the same."""
    person, state = drawn_person(seed)
    random = np.random.Generator(np.random.PCG64([seed, 1]))
    rate, volume, interval = (float(random.uniform(*ends)) for ends in (BREATHS_per_min, VOLUME, INTERVAL))
    record = person_record(person, state, Rhythm(rate, volume, interval, 0.005), READ_s, SECONDS, seed)
    beats = beats_of(record.finger_mmHg, READ_s)
    true, read = strokes_at(record, beats.onset_s), ESTIMATORS[estimator](beats)
    kept = beats.counts & np.isfinite(true) & np.isfinite(read)
    found = (fit_percent(beats.onset_s[kept], values[kept], rate / 60.0)[0] for values in (true, read))
    return Breathing(*found)


def fit_variation(seeds: Iterable[int]) -> tuple[float, float]:
    """The gain from variation read to true variation, and the relative SD of what it leaves."""
    people = [breathing(seed) for seed in seeds]
    ratio = np.array([one.true_percent / one.read_percent for one in people])
    gain = float(np.median(ratio))
    return gain, float(np.std(ratio / gain, ddof=1))
