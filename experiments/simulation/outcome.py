"""What a guarded run adds up while it goes: pressures, times, who acted first, and what a display would have shown.

Sums live in one array of numbers, so that a run of any length needs no trace.
"""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.protection.protection import DETECTORS
from plant.declare import inlined
from plant.finger.artery import Artery, unloaded_pressure

LAYERS = (*DETECTORS, "relief", "dump_valve", "pressure_switch", "watchdog")
RELIEF, DUMP, SWITCH, WATCHDOG = range(len(DETECTORS), len(LAYERS))
FIGURES = (  # of a run: pressures from its first tick, times and display from the onset of the fault
    "highest_mmHg", "above_normal_s", "above_fault_s", "integral_mmHg_s", "detected_s", "vent_start_s", "below_20_s",
    "below_15_s", "wrong_s", "wrong_longest_s", "wrong_mmHg", "lowest_mmHg", "wrong_at_alarm_mmHg",
)
(HIGHEST, ABOVE_NORMAL, ABOVE_FAULT, INTEGRAL, DETECTED, VENT_START, BELOW_20, BELOW_15, WRONG_TOTAL, WRONG_LONGEST,
 WRONG_MOST, LOWEST, AT_ALARM) = range(len(FIGURES))
WRONG_NOW, WRONG_MEAN, EMPTY = range(len(FIGURES), len(FIGURES) + 3)  # only remembered
NEVER = -1.0


class Judge(NamedTuple):
    """What a run is held against."""

    normal_mmHg: float  # highest cuff pressure in normal use
    fault_mmHg: float  # and in a single-fault condition
    wrong_mmHg: float  # mean distance of the shown waveform from the true one that counts as wrong
    mean_s: float  # over which that distance is averaged
    artery: Artery  # of the finger without any fault
    transmission: float  # share of cuff pressure at the artery without any fault
    onset_tick: int  # from which on times and display count
    patience_s: float  # how long an emptying cuff is waited for


def new_tally() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Sums of a run, and the time [s] at which each layer first acted; both still empty."""
    sums = np.zeros(len(FIGURES) + 3)
    sums[[DETECTED, VENT_START, BELOW_20, BELOW_15]] = NEVER
    sums[LOWEST] = np.inf
    return sums, np.full(len(LAYERS), NEVER)


@inlined
def add_pressure(sums: NDArray[np.float64], judge: Judge, cuff_mmHg: float, since_s: float, period_s: float) -> None:
    """Count one tick of cuff pressure; `since_s` is the time since the onset."""
    sums[HIGHEST] = max(sums[HIGHEST], cuff_mmHg)
    sums[LOWEST] = min(sums[LOWEST], cuff_mmHg)
    sums[INTEGRAL] += max(cuff_mmHg, 0.0) * period_s
    if cuff_mmHg > judge.normal_mmHg:
        sums[ABOVE_NORMAL] += period_s
    if cuff_mmHg > judge.fault_mmHg:
        sums[ABOVE_FAULT] += period_s
    if sums[VENT_START] >= 0.0:
        if cuff_mmHg > 20.0:
            sums[BELOW_20] = NEVER
        elif sums[BELOW_20] < 0.0:
            sums[BELOW_20] = since_s - sums[VENT_START]
        if cuff_mmHg > 15.0:
            sums[BELOW_15] = NEVER
        elif sums[BELOW_15] < 0.0:
            sums[BELOW_15] = since_s - sums[VENT_START]
        sums[EMPTY] = sums[EMPTY] + period_s if cuff_mmHg < 5.0 else 0.0


@inlined
def add_display(
    sums: NDArray[np.float64], judge: Judge, shown_mmHg: float, trusted: bool, arterial_mmHg: float, tone: float,
    period_s: float,
) -> None:
    """Count one tick of what is shown, while no warning is on (`trusted`), against what a perfect clamp would show."""
    ideal = (arterial_mmHg - unloaded_pressure(judge.artery, tone)) / judge.transmission
    distance = abs(shown_mmHg - ideal)
    if not trusted:
        sums[WRONG_NOW] = 0.0
        return
    sums[WRONG_MEAN] += (distance - sums[WRONG_MEAN]) * (period_s / (judge.mean_s + period_s))
    if sums[WRONG_MEAN] > judge.wrong_mmHg:
        sums[WRONG_TOTAL] += period_s
        sums[WRONG_NOW] += period_s
        sums[WRONG_LONGEST] = max(sums[WRONG_LONGEST], sums[WRONG_NOW])
    else:
        sums[WRONG_NOW] = 0.0
    sums[WRONG_MOST] = max(sums[WRONG_MOST], sums[WRONG_MEAN])


@inlined
def note(first: NDArray[np.float64], layer: int, since_s: float) -> None:
    """Remember when a layer first acted."""
    if first[layer] < 0.0:
        first[layer] = since_s


@inlined
def note_detectors(first: NDArray[np.float64], fired: int, since_s: float) -> None:
    """Remember when detectors first fired; `fired` has one bit for each."""
    for i in range(len(DETECTORS)):
        if fired & (1 << i):
            note(first, i, since_s)
