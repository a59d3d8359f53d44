"""What a schedule's waveform is worth: its errors beat by beat, its lost time, and how soon it is right again.

Beats are those of the true arterial pressure; a beat counts when its waveform was shown throughout. Time without
waveform is lost time and no error. The ideal is what a perfect clamp at the unloaded volume reads: (p_a − p0)/η.
"""
from __future__ import annotations

import itertools
import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plant.finger.artery import Artery, unloaded_pressure
from plant.pressure.beats import Indices, detect_beats

Samples = NDArray[np.float64]
Stretches = NDArray[np.int64]

LARGE_mmHg = 5.0  # error of a beat's mean beyond which it is a large one
STAYS_s = 30.0  # without a large error, after which a reading counts as recovered
LEAST_WAVEFORM_s = 2.0  # a shorter piece is a blink, no waveform: lost time
BIN_s = 5.0  # of the time courses that are kept for pictures
BLOCK = 250_000  # ticks worked on at once: memory stays small however long the run
NO_BEATS = np.empty(0, np.int64)


class Metric(NamedTuple):
    """One figure of a run."""

    name: str
    unit: str
    meaning: str


def _errors(against: str, word: str) -> list[Metric]:
    spread = [
        Metric(f"{value}_{kind}_{against}", "mmHg", f"{what} of the {value} error of beats, against {word}")
        for value in ("systolic", "mean", "diastolic") for kind, what in (("bias", "mean"), ("sd", "SD"))
    ]
    return [*spread, Metric(f"mean_rms_{against}", "mmHg", f"rms of the mean-pressure error of beats, against {word}")]


METRICS: tuple[Metric, ...] = (
    *_errors("ideal", "the ideal clamp at the unloaded volume"),
    *_errors("arterial", "true arterial pressure"),
    Metric("lost_share", "1", "share of the time without waveform, the first search included"),
    Metric("first_waveform", "s", "time to the first waveform"),
    Metric("interruptions", "1", "gaps in the waveform after it first appeared"),
    Metric("large_share", "1", f"share of beats whose mean is wrong by more than {LARGE_mmHg:g} mmHg"),
    Metric("longest_large", "s", f"longest stretch of beats wrong by more than {LARGE_mmHg:g} mmHg"),
    Metric("recovery", "s", "longest time from something happening to a reading that is right again and stays so"),
    Metric("unrecovered", "1", "events before whose end it did not come right again"),
    Metric("highest_cuff", "mmHg", "highest cuff pressure"),
    Metric("searches", "1", "whole searches that ended in a set point"),
    Metric("recalibrations", "1", "shorter looks that ended in a set point"),
    Metric("failures", "1", "searches and looks that failed, clamps lost, and an early end"),
    Metric("beats", "1", "beats that count"),
    Metric("seconds", "s", "length of the run"),
)
METRIC = {metric.name: i for i, metric in enumerate(METRICS)}


class Reference(NamedTuple):
    """What would be right, beat by beat; each value of shape (beats,)."""

    onsets: Indices  # (beats + 1,) ticks
    ideal: Samples  # (beats, 3) systolic, mean, diastolic
    arterial: Samples  # (beats, 3)


def reference(arterial_mmHg: NDArray[Any], tone: NDArray[Any], artery: Artery, transmission: float,
              period_s: float) -> Reference:
    """Beats of an arterial pressure, and what an ideal clamp and the artery itself have in them."""
    onsets = detect_beats(arterial_mmHg, period_s)
    beats = max(len(onsets) - 1, 0)
    ideal, arterial = _BeatSums(onsets), _BeatSums(onsets)
    for first in range(0, len(arterial_mmHg), BLOCK):
        block = np.asarray(arterial_mmHg[first : first + BLOCK], float)
        level: Any = np.asarray(tone[first : first + BLOCK], float)  # the law is compiled for one tone or for many
        arterial.add(first, block)
        ideal.add(first, (block - unloaded_pressure(artery, level)) / transmission)
    return Reference(onsets if beats else NO_BEATS, ideal.values(), arterial.values())


class _BeatSums:
    """Maximum, sum and minimum of a signal in every beat, the signal given piece by piece."""

    def __init__(self, onsets: Indices) -> None:
        self._onsets = onsets
        beats = len(onsets) + 1  # the first is what comes before the first onset, the last what comes after the last
        self._highest = np.full(beats, -np.inf)
        self._lowest = np.full(beats, np.inf)
        self._sum = np.zeros(beats)

    def add(self, first: int, signal: Samples) -> None:
        """A piece that begins at a tick."""
        before = int(np.searchsorted(self._onsets, first, "right"))
        after = int(np.searchsorted(self._onsets, first + len(signal), "left"))
        starts = np.concatenate([[0], self._onsets[before:after] - first])
        inside = slice(before, after + 1)
        self._highest[inside] = np.maximum(self._highest[inside], np.maximum.reduceat(signal, starts))
        self._lowest[inside] = np.minimum(self._lowest[inside], np.minimum.reduceat(signal, starts))
        self._sum[inside] += np.add.reduceat(signal, starts)

    def values(self) -> Samples:
        """(beats, 3): systolic, mean, diastolic of the beats between two onsets. Only whole beats make sense."""
        beats = slice(1, max(len(self._onsets), 1))
        mean = self._sum[beats] / np.diff(self._onsets)
        return np.column_stack([self._highest[beats], mean, self._lowest[beats]])


class BeatLog:
    """What was shown, reduced to beats as it comes."""

    def __init__(self, true: Reference, period_s: float) -> None:
        self.true = true
        self.ticks = 0
        self._period_s = period_s
        self._sums = _BeatSums(true.onsets)
        self._stretches: list[list[int]] = []  # first tick and end of every unbroken piece of waveform
        self._highest_mmHg = 0.0

    def add(self, shown_mmHg: Samples, highest_mmHg: float) -> None:
        """The next ticks: the waveform (NaN throughout where there is none) and their highest cuff pressure."""
        first, self.ticks = self.ticks, self.ticks + len(shown_mmHg)
        self._highest_mmHg = max(self._highest_mmHg, highest_mmHg)
        if not (len(shown_mmHg) and math.isfinite(shown_mmHg[0])):
            return
        self._sums.add(first, shown_mmHg)
        if self._stretches and self._stretches[-1][1] == first:
            self._stretches[-1][1] = self.ticks
        else:
            self._stretches.append([first, self.ticks])

    def pass_time(self, ticks: int) -> None:
        """Ticks up to `ticks` went by without anything shown: the run was over before its time."""
        self.ticks = max(self.ticks, ticks)

    def waveform(self) -> Stretches:
        """(stretches, 2): first tick and end of every stretch of waveform that is no blink."""
        found = np.array(self._stretches, np.int64).reshape(-1, 2)
        return found[(found[:, 1] - found[:, 0]) * self._period_s >= LEAST_WAVEFORM_s]

    def errors(self) -> BeatErrors:
        """Errors of the beats that count."""
        onsets, stretches = self.true.onsets, self.waveform()
        if len(onsets) < 2 or not len(stretches):
            return BeatErrors(np.empty(0), np.empty(0), np.empty((0, 3)), np.empty((0, 3)))
        inside = np.searchsorted(stretches[:, 0], onsets[:-1], "right") - 1
        whole = (inside >= 0) & (onsets[1:] <= stretches[inside, 1])
        shown = self._sums.values()[whole]
        return BeatErrors(
            onsets[:-1][whole] * self._period_s, np.diff(onsets)[whole] * self._period_s,
            shown - self.true.ideal[whole], shown - self.true.arterial[whole],
        )

    def figures(self, marks_s: list[float], diary: dict[str, int]) -> Samples:
        """All METRICS of the run, in order; nan where a figure could not be had."""
        errors, stretches = self.errors(), self.waveform()
        shown = int(np.sum(stretches[:, 1] - stretches[:, 0]))
        seconds = self.ticks * self._period_s
        gaps = max(len(stretches) - 1, 0) + int(len(stretches) > 0 and stretches[-1, 1] < self.ticks)
        found = dict.fromkeys(METRIC, math.nan) | {
            "lost_share": 1.0 - shown / max(self.ticks, 1),
            "first_waveform": float(stretches[0, 0]) * self._period_s if len(stretches) else math.nan,
            "interruptions": float(gaps), "highest_cuff": self._highest_mmHg, "searches": diary.get("search", 0),
            "recalibrations": diary.get("recalibration", 0), "failures": diary.get("failures", 0),
            "beats": len(errors.onset_s), "seconds": seconds,
        }
        if len(errors.onset_s):
            for against, error in (("ideal", errors.ideal), ("arterial", errors.arterial)):
                found |= _error_figures(error, against)
            large = np.abs(errors.ideal[:, 1]) > LARGE_mmHg
            took = recoveries_s(errors.onset_s, large, marks_s, seconds)
            found |= {
                "large_share": float(np.mean(large)), "longest_large": longest_run(large, errors.lasts_s),
                "recovery": max((time for time, _ in took), default=math.nan),
                "unrecovered": float(sum(not right for _, right in took)),
            }
        return np.array([found[metric.name] for metric in METRICS], float)

    def course(self, tone: NDArray[Any]) -> NDArray[np.float32]:
        """(3, bins of BIN_s): mean error against the ideal (nan without beats), share of time shown, tone."""
        width = round(BIN_s / self._period_s)
        bins = -(-self.ticks // width)
        errors = self.errors()
        at = np.minimum((errors.onset_s / BIN_s).astype(np.int64), max(bins - 1, 0))
        count = np.bincount(at, minlength=bins)
        total = np.bincount(at, errors.ideal[:, 1], minlength=bins)
        edges = np.minimum(np.arange(bins + 1) * width, self.ticks)
        shown = np.zeros(bins + 1)
        for first, end in self.waveform().tolist():
            shown += np.clip(edges - first, 0, end - first)
        level = np.asarray(tone[np.minimum(edges[:-1] + width // 2, len(tone) - 1)])
        with np.errstate(invalid="ignore"):
            error = np.where(count > 0, total / np.maximum(count, 1), np.nan)
        return np.stack([error, np.diff(shown) / np.maximum(np.diff(edges), 1), level]).astype(np.float32)


class BeatErrors(NamedTuple):
    """Shown less reference of the beats that count."""

    onset_s: Samples  # (beats,)
    lasts_s: Samples  # (beats,)
    ideal: Samples  # (beats, 3) systolic, mean, diastolic [mmHg]
    arterial: Samples


def _error_figures(error: Samples, against: str) -> dict[str, float]:
    found = {f"mean_rms_{against}": float(np.sqrt(np.mean(error[:, 1] ** 2)))}
    for column, value in enumerate(("systolic", "mean", "diastolic")):
        found[f"{value}_bias_{against}"] = float(np.mean(error[:, column]))
        found[f"{value}_sd_{against}"] = float(np.std(error[:, column], ddof=1)) if len(error) > 1 else math.nan
    return found


def longest_run(large: NDArray[np.bool_], lasts_s: Samples) -> float:
    """Longest unbroken run of large errors [s of beats]. A gap in the waveform neither ends it nor adds to it."""
    ends = np.cumsum(np.where(large, lasts_s, 0.0))
    before = np.maximum.accumulate(np.where(large, 0.0, ends))
    return float(np.max(ends - before, initial=0.0))


def recoveries_s(
    onset_s: Samples, large: NDArray[np.bool_], marks_s: list[float], end_s: float
) -> list[tuple[float, bool]]:
    """For each mark: (time [s] until the error is small and stays so for 30 s of beats shown, whether it ever was).

    Each mark is looked at until the next, so that nothing that happens later is counted against it. Where no beat goes
    wrong the time is 0; where none comes right again to stay, or none is shown, it is the whole way to the next mark
    or the end.
    """
    found = []
    for mark, until in itertools.pairwise([*marks_s, end_s]):
        inside = (onset_s >= mark) & (onset_s < until)
        time, wrong = onset_s[inside], np.flatnonzero(large[inside])
        if not len(wrong):
            found.append((0.0, True) if len(time) else (until - mark, False))
            continue
        following = np.append(time[wrong[1:]], until)  # of each wrong beat, the next wrong one
        after = np.minimum(wrong + 1, len(time) - 1)  # and the beat that comes next
        right = (wrong + 1 < len(time)) & (following - time[after] >= STAYS_s)
        found.append((float(time[after][np.argmax(right)]) - mark, True) if np.any(right) else (until - mark, False))
    return found
