"""Two fingers in turn over a day: the step of the level at each change-over, and what it does to readings.

    read = true + own level of the finger + error of its search + drift since then
Own levels are what nobody knows of each finger: p0, fit and gradient, a part of the last of both alike. After each
change-over a new search errs anew. Three ways to show it: as read; joined, each turn shifted to begin where the last
one ended, which turns steps into a random walk; the step learned, the second finger shifted by the mean of all steps so
far. Minutes only, many pairs of fingers: a turn's beats are those of the hour (`hour.py`). Sizes are invented.
"""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plant.bounds import check_bounds
from plant.declare import quantity

Samples = NDArray[np.float64]
WAYS = ("as read", "joined", "step learned")
SIDE_min = 2  # of the mean on each side of a change-over
TOTAL_mmHg = 190.0  # systolic and diastolic pressure together, for output by Liljestrand–Zander


class Turns(NamedTuple):
    """How the fingers take turns, and how sure their levels are."""

    turn_min: Annotated[float, quantity("min", 5, 720, "length of a turn", "scenario")] = 60.0
    day_h: Annotated[float, quantity("h", 1, 72, "how long", "scenario")] = 24.0
    p0_sd_mmHg: Annotated[float, quantity("mmHg", 0, 20, "spread of p0 over fingers", "as in calibrate/level")] = 3.0
    gradient_sd_mmHg: Annotated[
        float, quantity("mmHg", 0, 40, "spread of a finger's gradient over people", "as in calibrate/level")
    ] = 8.0
    shared: Annotated[
        float, quantity("1", 0, 1, "share of the gradient's variance that both fingers have", "invented")
    ] = 0.75
    search_sd_mmHg: Annotated[float, quantity("mmHg", 0, 30, "SD of a search's error", "what the search says")] = 2.0
    drift_mmHg: Annotated[
        float, quantity("mmHg", 0, 30, "SD of the set point's drift after an hour", "invented: a random walk")
    ] = 2.0
    physiology_mmHg: Annotated[float, quantity("mmHg", 0, 30, "SD of true mean pressure over a day", "invented")] = 8.0
    minute_mmHg: Annotated[
        float, quantity("mmHg", 0, 10, "SD of a minute's true mean about its neighbours", "invented")
    ] = 1.0


class Day(NamedTuple):
    """Pairs of fingers over a day; error is what is shown less true, referred to the first minutes."""

    told: Turns
    time_h: Samples  # (minutes,)
    true_mmHg: Samples  # (minutes,) of the first pair
    finger: NDArray[np.int64]  # (minutes,) 0 or 1
    error_mmHg: dict[str, Samples]  # by WAYS, (pairs, minutes)

    def step_sd_mmHg(self, way: str) -> float:
        """SD of the steps at change-overs."""
        change = np.flatnonzero(np.diff(self.finger)) + 1
        error = self.error_mmHg[way]
        return float(np.std(error[:, change] - error[:, change - 1]))

    def error_sd_mmHg(self, way: str, from_h: float = 0.0) -> float:
        """SD over pairs and minutes of the error since the start, from some hour on."""
        kept = self.time_h >= from_h
        return float(np.std(self.error_mmHg[way][:, kept]))

    def output_percent(self, mmHg: float) -> float:
        """What a level does to output by Liljestrand–Zander."""
        return 200.0 * mmHg / TOTAL_mmHg


def day_of(told: Turns, pairs: int = 400, seed: int = 1) -> Day:
    """A day of many pairs of fingers. The same seed gives the same bits. Raises InputError out of bounds."""
    check_bounds(told)
    random = np.random.Generator(np.random.PCG64(seed))
    minutes = round(60.0 * told.day_h)
    turn = max(round(told.turn_min), 1)
    number = np.arange(minutes) // turn
    finger = (number % 2).astype(np.int64)
    own = told.p0_sd_mmHg**2 + (1.0 - told.shared) * told.gradient_sd_mmHg**2
    levels = math.sqrt(own) * random.standard_normal((pairs, 2))
    searches = told.search_sd_mmHg * random.standard_normal((pairs, number[-1] + 1))
    steps = told.drift_mmHg / math.sqrt(60.0) * random.standard_normal((pairs, minutes))
    begins = np.flatnonzero(np.diff(number, prepend=-1))
    walk = np.cumsum(steps, axis=1)
    drift = walk - walk[:, begins][:, number]
    true = _physiology(told, minutes, pairs, random)
    raw = levels[:, finger] + searches[:, number] + drift
    raw = raw - raw[:, :1]
    shown = true + raw
    errors = {"as read": raw, "joined": _joined(shown, begins, None) - true,
              "step learned": _joined(shown, begins, finger) - true}
    return Day(told, np.arange(minutes) / 60.0, true[0], finger, errors)


def _physiology(told: Turns, minutes: int, pairs: int, random: np.random.Generator) -> Samples:
    """True mean pressure about its own mean: a slow wander with a time constant of two hours, and minutes."""
    keep = math.exp(-1.0 / 120.0)
    noise = random.standard_normal((pairs, minutes))
    slow = np.empty((pairs, minutes))
    slow[:, 0] = noise[:, 0]
    for k in range(1, minutes):
        slow[:, k] = keep * slow[:, k - 1] + math.sqrt(1.0 - keep**2) * noise[:, k]
    return np.asarray(told.physiology_mmHg * slow + told.minute_mmHg * random.standard_normal((pairs, minutes)))


def _joined(shown: Samples, begins: NDArray[np.int64], finger: NDArray[np.int64] | None) -> Samples:
    """Each turn shifted to begin where the last one ended; with `finger`, the second by the mean step so far only."""
    out = shown.copy()
    shift = np.zeros(len(shown))
    steps: list[Samples] = []
    ends = [*begins[1:].tolist(), shown.shape[1]]
    for begin, end in zip(begins[1:].tolist(), ends[1:], strict=True):
        side = min(SIDE_min, begin, end - begin)
        step = np.mean(shown[:, begin : begin + side], axis=1) - np.mean(shown[:, begin - side : begin], axis=1)
        if finger is None:
            shift = shift - step
        else:
            steps.append(step if finger[begin] == 1 else -step)
            shift = -np.mean(steps, axis=0) if finger[begin] == 1 else np.zeros(len(shown))
        out[:, begin:end] += shift[:, None]
    return out
