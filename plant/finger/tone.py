"""Vasomotor tone over time: what drives the artery's smooth muscle, tick by tick.

m = 0 is rest, positive constricted, negative dilated. A driver is declared once and sampled on the tick grid.
Sizes and time courses are invented unless their declaration says otherwise.
"""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plant.declare import quantity

Samples = NDArray[np.float64]


class ToneDrive(NamedTuple):
    """Slow wander, 0.1 Hz waves, and one exposure or stimulus."""

    level: Annotated[float, quantity("1", -2, 3, "tone at rest", "0 by definition")] = 0.0
    wander: Annotated[float, quantity("1", 0, 2, "SD of the slow random wander", "invented")] = 0.0
    wander_time_s: Annotated[float, quantity("s", 1, 10000, "correlation time of the wander", "invented")] = 120.0
    wave: Annotated[float, quantity("1", 0, 2, "amplitude of the 0.1 Hz waves", "invented")] = 0.0
    wave_Hz: Annotated[float, quantity("Hz", 0.02, 0.2, "their frequency", "about 0.1 Hz: Julien 2006")] = 0.1
    change: Annotated[
        float, quantity("1", -3, 3, "tone added by cold (+), warmth (−), drug or pain", "invented")
    ] = 0.0
    onset_s: Annotated[float, quantity("s", 0, 1e6, "when the change starts", "scenario")] = 0.0
    rise_s: Annotated[float, quantity("s", 0.1, 10000, "first-order time constant of its start", "invented")] = 60.0
    end_s: Annotated[float, quantity("s", 0, 1e6, "when it ends; 0 for never", "scenario")] = 0.0
    fall_s: Annotated[float, quantity("s", 0.1, 10000, "first-order time constant of its end", "invented")] = 180.0


def exposure(drive: ToneDrive, time_s: Samples) -> Samples:
    """The stimulus alone: first-order rise after its onset, first-order fall after its end. Shape of `time_s`."""
    risen = 1.0 - np.exp(-np.maximum(time_s - drive.onset_s, 0.0) / drive.rise_s)
    if drive.end_s <= drive.onset_s:
        return drive.change * risen
    reached = 1.0 - math.exp(-(drive.end_s - drive.onset_s) / drive.rise_s)
    fallen = reached * np.exp(-np.maximum(time_s - drive.end_s, 0.0) / drive.fall_s)
    return drive.change * np.where(time_s < drive.end_s, risen, fallen)


def tone_samples(drive: ToneDrive, ticks: int, period_s: float, seed: int) -> Samples:
    """Tone at each of `ticks` ticks, shape (ticks,). The same seed gives the same samples."""
    time_s = np.asarray(np.arange(ticks) * period_s, float)
    samples = drive.level + exposure(drive, time_s)
    random = np.random.Generator(np.random.PCG64(seed))
    if drive.wave > 0.0:
        samples = samples + drive.wave * np.sin(2.0 * np.pi * (drive.wave_Hz * time_s + random.uniform()))
    if drive.wander > 0.0:
        # an Ornstein–Uhlenbeck path, exact at a coarse grid, joined by straight lines: it is slow against a second
        coarse_s = min(1.0, drive.wander_time_s / 10.0)
        count = int(ticks * period_s / coarse_s) + 2
        keep = math.exp(-coarse_s / drive.wander_time_s)
        kicks = random.standard_normal(count) * drive.wander
        path = np.empty(count)
        path[0] = kicks[0]
        for i in range(1, count):
            path[i] = keep * path[i - 1] + math.sqrt(1.0 - keep * keep) * kicks[i]
        samples = samples + np.interp(time_s, np.arange(count) * coarse_s, path)
    return np.asarray(samples, float)
