"""The figures of runs, gathered block of ticks by block of ticks, so that no run needs to be kept.

They are those of `experiments.check.tracking.tracking` by tick, to rounding. Sums go finger by finger in the order of
ticks: their bits depend neither on the blocks nor on who is beside.
"""
from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.simulation.simulate import SATURATED_SHARE, Ready, counted_ticks, plan_modes
from plant.declare import released
from plant.finger.artery import unloaded_pressure

Samples = NDArray[np.float64]
NEEDED = ("arterial_mmHg", "cuff_mmHg", "light", "limited")  # channels


class Figures(NamedTuple):
    """What came out, one entry a finger in the order they came.

    Errors are cuff minus arterial pressure, and cuff minus the ideal p_a − p0, over the ticks that count: clamped,
    settled, the record usable, and not yet diverged. NaN where there are none.
    """

    status: NDArray[np.str_]  # 'done', 'saturated', 'diverged', or 'refused': it could not be clamped at all
    message: NDArray[np.object_]  # why it is not 'done'
    done_s: Samples
    counted_s: Samples
    rms_mmHg: Samples
    peak_mmHg: Samples
    bias_mmHg: Samples
    ideal_rms_mmHg: Samples
    ideal_peak_mmHg: Samples
    ideal_bias_mmHg: Samples
    saturation_share: Samples  # of the time that counts
    light: Samples  # mean over the time that counts, fraction of full scale
    highest_mmHg: Samples  # cuff pressure, of the whole run


def refused(count: int) -> Figures:
    """Figures of so many fingers before anything has run."""
    return Figures(
        np.full(count, "refused", "<U9"), np.full(count, "", object), np.zeros(count), np.zeros(count),
        *(np.full(count, np.nan) for _ in Figures._fields[4:]),
    )


def joined(parts: Sequence[Figures]) -> Figures:
    """Figures of one batch after the other as one."""
    return Figures(*map(np.concatenate, zip(*parts, strict=True)))


class Sums(NamedTuple):
    """Running sums and extremes, each of shape (fingers,)."""

    ticks: Samples
    error: Samples
    square: Samples
    peak: Samples
    ideal_error: Samples
    ideal_square: Samples
    ideal_peak: Samples
    limited: Samples
    light: Samples
    highest: Samples


@released
def add_up(
    sums: Sums, arterial: Samples, cuff: Samples, light: Samples, limited: Samples, unloaded: Samples,
    counted: NDArray[np.bool_],
) -> None:
    """Add a block of ticks, every array of shape (ticks, fingers); finger by finger in the order of ticks."""
    for k in range(len(cuff)):
        for i in range(len(sums.ticks)):
            pressure = cuff[k, i]
            if pressure > sums.highest[i]:
                sums.highest[i] = pressure
            if counted[k, i] and pressure == pressure:  # nan once it has diverged
                error = pressure - arterial[k, i]
                ideal = error + unloaded[k, i]
                sums.ticks[i] += 1.0
                sums.error[i] += error
                sums.square[i] += error * error
                sums.peak[i] = max(sums.peak[i], abs(error))
                sums.ideal_error[i] += ideal
                sums.ideal_square[i] += ideal * ideal
                sums.ideal_peak[i] = max(sums.ideal_peak[i], abs(ideal))
                sums.limited[i] += limited[k, i]
                sums.light[i] += light[k, i]


class Reduction:
    """Figures of some runs with the same plan and number of ticks, in the making."""

    def __init__(self, runs: Sequence[Ready]) -> None:
        plan, self.period_s = runs[0].plan, runs[0].period_s
        self._settled = counted_ticks(plan, plan_modes(plan, runs[0].ticks, self.period_s), self.period_s)
        self._usable = [run.trace.usable for run in runs]
        law: Any = unloaded_pressure  # compiled for one tone or for many
        self._unloaded = [law(run.rig.plant.artery, run.inputs.tone) for run in runs]
        self._sums = Sums(*(np.full(len(runs), 0.0 if name != "highest" else -np.inf) for name in Sums._fields))

    def add(self, first: int, channels: dict[str, Samples]) -> None:
        """Add the NEEDED channels, each of shape (ticks, runs), of the ticks from `first` on."""
        arterial, cuff, light, limited = (np.ascontiguousarray(channels[name]) for name in NEEDED)
        block = slice(first, first + len(cuff))
        counted = np.stack([usable[block] for usable in self._usable], 1) & self._settled[block, None]
        unloaded = np.stack([pressure[block] for pressure in self._unloaded], 1)
        add_up(self._sums, arterial, cuff, light, limited, unloaded, counted)

    def write(
        self, figures: Figures, places: Sequence[int], done: NDArray[np.int64], diverged: NDArray[np.bool_]
    ) -> None:
        """Put the figures in their places; `done` is the ticks run."""
        sums, done_s = self._sums, done * self.period_s
        count = np.where(sums.ticks > 0.0, sums.ticks, np.nan)
        saturation = sums.limited / count
        found = (
            done_s, sums.ticks * self.period_s, np.sqrt(sums.square / count), sums.peak + 0.0 * count,
            sums.error / count, np.sqrt(sums.ideal_square / count), sums.ideal_peak + 0.0 * count,
            sums.ideal_error / count, saturation, sums.light / count, sums.highest,
        )
        for column, values in zip(figures[2:], found, strict=True):
            column[places] = values
        saturated = saturation > SATURATED_SHARE
        figures.status[places] = np.where(diverged, "diverged", np.where(saturated, "saturated", "done"))
        for i, place in enumerate(places):
            figures.message[place] = ""
            if diverged[i]:
                figures.message[place] = f"the run diverged at {done_s[i]:.3f} s"
            elif saturated[i]:
                figures.message[place] = f"at a limit for {100.0 * saturation[i]:.0f} % of the settled clamp"
