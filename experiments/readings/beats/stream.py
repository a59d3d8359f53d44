"""Samples in, beats out: a stream that stops at every gap, so that no value is ever taken across one.

Pressure comes with a condition a sample: 0, or the reasons (`Reason`) why nothing is to be read there. Each stretch
between interruptions is looked at by itself; its last beat, whose end nobody saw, is given with the interruption as its
reason and without values. A stream in pieces gives the bits of the whole record.
"""
from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.readings.beats.delineate import Marks, marks_of
from experiments.readings.beats.reasons import (
    EARLY,
    INTERRUPTING,
    Before,
    Reason,
    followed,
    reasons_of,
    usual_interval_s,
)
from plant.pressure.beats import BeatFinder

Samples = NDArray[np.float64]
Conditions = NDArray[np.uint8]

FEWEST_SAMPLES = 16  # of a beat; shorter ones are no beats
NOTHING = Marks(*(float("nan") for _ in Marks._fields))


class Beat(NamedTuple):
    """One beat; its marks are nan when an interruption cut it off."""

    onset_s: float
    marks: Marks
    reasons: Reason


class Beats(NamedTuple):
    """Beats as columns, each of shape (beats,)."""

    onset_s: Samples
    reasons: NDArray[np.int64]
    interval_s: Samples
    systolic_mmHg: Samples
    mean_mmHg: Samples
    diastolic_mmHg: Samples
    peak_s: Samples
    notch_s: Samples
    notch_mmHg: Samples
    systolic_area_mmHg_s: Samples
    diastolic_area_mmHg_s: Samples
    slope_mmHg_s: Samples
    roughness_mmHg: Samples

    @property
    def counts(self) -> NDArray[np.bool_]:
        """Beats without a reason not to count."""
        return np.asarray(self.reasons == 0)

    @property
    def pulse_mmHg(self) -> Samples:
        """Systolic minus diastolic."""
        return np.asarray(self.systolic_mmHg - self.diastolic_mmHg)

    def where(self, chosen: NDArray[np.bool_]) -> Beats:
        """Only some of the beats."""
        return Beats._make(column[chosen] for column in self)


def columns(beats: list[Beat]) -> Beats:
    """Beats as columns."""
    table = np.array([beat.marks for beat in beats], float).reshape(len(beats), len(Marks._fields))
    onset = np.array([beat.onset_s for beat in beats], float)
    return Beats(onset, np.array([int(beat.reasons) for beat in beats], np.int64), *table.T.copy())


class BeatStream:
    """Beats of a reading that comes in pieces."""

    def __init__(self, period_s: float) -> None:
        """Take samples every `period_s` [s]."""
        self._period_s = period_s
        self._count = 0  # samples taken
        self._begin()
        self._before: Before | None = None
        self._interval_s = 0.0  # of the beat before

    def _begin(self) -> None:
        """A new stretch starts with the next sample."""
        self._finder = BeatFinder(self._period_s)
        self._stretch = self._count
        self._samples = np.empty(0)
        self._kept = 0  # sample of the stretch that `_samples` begins with
        self._onsets: list[int] = []

    def push(self, pressure_mmHg: Samples, condition: Conditions | None = None) -> list[Beat]:
        """Take more samples and give the beats that are complete. Raises InputError for a bad pressure that counts."""
        pressure = np.asarray(pressure_mmHg, float)
        if condition is None:
            condition = np.zeros(len(pressure), np.uint8)
        stopped = (condition & int(INTERRUPTING)) != 0
        edges = [0, *(np.flatnonzero(np.diff(stopped.astype(np.int8))) + 1).tolist(), len(pressure)]
        given: list[Beat] = []
        for first, last in pairwise(edges):
            if first == last:
                continue
            if stopped[first]:
                given += self._interrupted(Reason(int(condition[first])))
                self._count += last - first
                self._begin()
            else:
                self._samples = np.concatenate([self._samples, pressure[first:last]])
                self._count += last - first
                given += self._beats(self._finder.push(pressure[first:last]).tolist())
        return given

    def finish(self) -> list[Beat]:
        """The beats that are left at the end of the stream; the one under way is dropped."""
        given = self._beats(self._finder.finish().tolist())
        self._begin()
        return given

    def _interrupted(self, why: Reason) -> list[Beat]:
        """All that is left of a stretch, with the beat that the interruption cut off."""
        given = self._beats(self._finder.finish().tolist())
        if self._onsets:
            given.append(Beat((self._stretch + self._onsets[-1]) * self._period_s, NOTHING, why))
        self._before, self._interval_s = None, 0.0
        return given

    def _beats(self, onsets: list[int]) -> list[Beat]:
        """Beats that end with these onsets of the stretch."""
        given = []
        for onset in onsets:
            if self._onsets and onset - self._onsets[-1] >= FEWEST_SAMPLES:
                begin = self._onsets[-1] - self._kept
                marks = marks_of(self._samples[begin : onset - self._kept + 1], self._period_s)
                usual = usual_interval_s(self._before.intervals_s) if self._before else 0.0
                why = reasons_of(marks, self._before, 0.0 < self._interval_s < EARLY * usual)
                self._before, self._interval_s = followed(marks, why, self._before), marks.interval_s
                given.append(Beat((self._stretch + self._onsets[-1]) * self._period_s, marks, why))
            self._onsets = [onset]
            self._samples = self._samples[onset - self._kept :]
            self._kept = onset
        return given


def beats_of(pressure_mmHg: Samples, period_s: float, condition: Conditions | None = None) -> Beats:
    """All beats of a whole record. Raises InputError for a bad pressure that counts."""
    stream = BeatStream(period_s)
    return columns([*stream.push(pressure_mmHg, condition), *stream.finish()])
