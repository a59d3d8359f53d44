"""Gain normalisation: where the loop of each finger crosses 1, by the light slope that its error is divided by.

The error is light over slope. A slope that is the finger's own makes every finger's loop the same; one slope for all
leaves the gain to thickness, tone and colour of the finger. What is compared is the lowest frequency where |L| = 1 of
the exact sampled loop, at mean pressure and resting tone.
"""
from __future__ import annotations

import itertools
import math
from typing import NamedTuple

import numpy as np

from controller.margins.loop import build_loop, loop_margins
from controller.tick.law import Coefficients
from experiments.rigs.rig import Rig
from experiments.subjects.finger import finger_pulsation
from experiments.subjects.population import each_finger
from plant.operating_point import OperatingPoint

MIDDLE_OF = 128  # first fingers of a population, over which the middle slope is taken


class Crossover(NamedTuple):
    """One loop."""

    frequency_Hz: float  # lowest with |L| = 1; nan where there is none
    stable: bool


class Spread(NamedTuple):
    """How far the crossovers of many fingers lie apart."""

    loops: int  # that have one, stable or not
    low_Hz: float  # 5th percentile
    high_Hz: float  # 95th percentile
    sd_log: float  # standard deviation of its natural logarithm
    unstable: int
    without: int  # loops without a crossover

    @property
    def ratio(self) -> float:
        """95th over 5th percentile."""
        return self.high_Hz / self.low_Hz


def crossover_of(rig: Rig, point: OperatingPoint, coefficients: Coefficients, light_slope: float) -> Crossover:
    """Crossover of a rig on a finger with the error divided by `light_slope` [1/mmHg], on the valve's filling side."""
    found = loop_margins(build_loop(rig.plant, point, "fill", rig.timing, rig.stage, coefficients, light_slope))
    lowest = min((c.frequency_Hz for c in found.gain_crossovers), default=math.nan)
    return Crossover(lowest, found.stable)


def middle_slope(rig: Rig, group: str, seed: int) -> float:
    """The one light slope [1/mmHg] that suits a group best: the median over its first fingers, by the static law."""
    emitter = rig.plant.light.emitter
    fingers = itertools.islice(each_finger(group, seed), MIDDLE_OF)
    return emitter * float(np.median([finger_pulsation(f).light_slope for f in fingers]))


def spread_of(crossovers: list[Crossover]) -> Spread:
    """The spread of many loops' crossovers; nan for fewer than two."""
    found = np.array([c.frequency_Hz for c in crossovers if math.isfinite(c.frequency_Hz)])
    unstable, without = sum(not c.stable for c in crossovers), len(crossovers) - len(found)
    if len(found) < 2:
        return Spread(len(found), math.nan, math.nan, math.nan, unstable, without)
    low, high = np.percentile(found, [5.0, 95.0])
    return Spread(len(found), float(low), float(high), float(np.std(np.log(found), ddof=1)), unstable, without)
