"""What each failure does to each reading before anybody warns, with all protection, on the rig's own finger.

The reading with the failure is held against the same run without it, beat by beat of the true arterial pressure, from
the failure's onset to the first warning or the end of the run. What is told is the largest mean of five beats.
"""
from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.tick.firmware import CLAMP
from experiments.design.sweep.axes import own_finger
from experiments.readings.output.variation import floor_percent
from experiments.rigs.rig import Rig
from experiments.safety.faults.fault import AT_START, FAILURE, Fault
from experiments.safety.faults.trial import Bench, Times, make_bench
from experiments.simulation.protected import FAULT_CHANNELS
from plant.errors import InputError
from plant.pressure.beats import detect_beats

Samples = NDArray[np.float64]
SHOWN, MODE = FAULT_CHANNELS.index("shown_mmHg"), FAULT_CHANNELS.index("mode")
AFTER_s = 30.0
TOGETHER = 5  # beats whose mean counts
A_BREATH = 4.0  # beats
READINGS = ("systolic", "mean", "diastolic", "output", "variation")
UNITS = {"systolic": "mmHg", "mean": "mmHg", "diastolic": "mmHg", "output": "%", "variation": "points"}


class Harm(NamedTuple):
    """One failure; changes are nan where fewer than five beats were shown before somebody warned."""

    name: str
    item: str
    mode: str
    warned_s: float  # after the onset; inf: never
    caught_by: str
    beats: int  # shown before that
    systolic_mmHg: float
    mean_mmHg: float
    diastolic_mmHg: float
    output_percent: float  # by Liljestrand–Zander
    variation_points: float  # peak to trough of the pulse that beats scatter by, above those without the failure

    @property
    def changes(self) -> dict[str, float]:
        """By READINGS."""
        return dict(zip(READINGS, self[6:], strict=True))


def harms(
    rig: Rig, faults: Iterable[Fault], seed: int = 1, progress: Callable[[float], None] | None = None
) -> list[Harm]:
    """Every failure on its own. Raises InputError when the rig does not hold its own finger."""
    finger = own_finger(rig)._replace(seed=seed)
    bench = make_bench(rig, finger, finger._replace(seed=seed + 1), times=Times(after_s=AFTER_s), seed=seed)
    if bench.trouble:
        raise InputError(f"rig {rig.name}: {', '.join(bench.trouble)} before any failure")
    _, plain = bench.run(trace=True)
    onsets = detect_beats(bench.inputs.arterial_mmHg[bench.onset_tick : bench.onset_tick + len(plain)],
                          rig.timing.period_s)
    usual = by_beat(plain[:, SHOWN], onsets)
    some = [fault for fault in faults if fault.kind == FAILURE]
    found = []
    for k, fault in enumerate(some):
        found.append(_harm(bench, fault, onsets, usual))
        if progress is not None:
            progress((k + 1) / len(some))
    return found


def by_beat(shown_mmHg: Samples, onsets: NDArray[np.int64]) -> Samples:
    """Systolic, mean, diastolic pressure and the ratio of Liljestrand–Zander, (beats, 4); nan of beats not shown."""
    rows = np.full((max(len(onsets) - 1, 0), 4), np.nan)
    for k, (begin, end) in enumerate(zip(onsets[:-1].tolist(), onsets[1:].tolist(), strict=True)):
        beat = shown_mmHg[begin:end]
        if len(beat) == end - begin and np.all(np.isfinite(beat)):
            top, foot = float(np.max(beat)), float(np.min(beat))
            rows[k] = top, float(np.mean(beat)), foot, (top - foot) / max(top + foot, 1.0)
    return rows


def _harm(bench: Bench, fault: Fault, onsets: NDArray[np.int64], usual: Samples) -> Harm:
    early, period_s = fault.onset == AT_START, bench.rig.timing.period_s
    outcome, rows = bench.run(fault, trace=True)
    begin = int(np.argmax(bench.orders.mode == CLAMP)) if early else bench.onset_tick
    warned = outcome.figures["detected_s"]
    last = math.inf if warned < 0.0 else begin + warned / period_s
    shown = rows[bench.onset_tick if early else 0 :]
    here = bench.onset_tick + np.arange(len(shown)) < last
    seen = np.where(here & (shown[:, MODE] == CLAMP), shown[:, SHOWN], np.nan)
    values = by_beat(seen, onsets)
    beats = int(np.count_nonzero(np.isfinite(values[:, 0])))
    changes = changed(values, usual)
    return Harm(fault.name, fault.item, fault.mode, math.inf if warned < 0.0 else warned, outcome.caught_by, beats,
                *changes)


def changed(values: Samples, usual: Samples) -> tuple[float, float, float, float, float]:
    """Largest change of the mean of five beats in each reading [mmHg, %], and the variation [points] that is added."""
    kept = np.isfinite(values[:, 0]) & np.isfinite(usual[: len(values), 0])
    if np.count_nonzero(kept) < TOGETHER:
        nan = math.nan
        return nan, nan, nan, nan, nan
    now, before = values[kept], usual[: len(values)][kept]
    difference = now - before
    difference[:, 3] = 100.0 * (now[:, 3] / before[:, 3] - 1.0)
    sums = np.cumsum(np.concatenate([np.zeros((1, 4)), difference]), axis=0)
    means = (sums[TOGETHER:] - sums[:-TOGETHER]) / TOGETHER
    largest = means[np.argmax(np.abs(means), axis=0), np.arange(4)]
    pulse = (now[:, 0] - now[:, 2]) - (before[:, 0] - before[:, 2])
    jumps = np.diff(pulse)
    noise = float(np.sqrt(np.mean(jumps**2) / 2.0)) / max(float(np.mean(before[:, 0] - before[:, 2])), 1.0)
    return (*(float(x) for x in largest), floor_percent(noise, A_BREATH))  # type: ignore[return-value]  # five of them
