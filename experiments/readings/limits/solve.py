"""From a limit on a reading to limits on the loop, each as if the whole limit were spent on it alone.

    bandwidth    of a first-order loop                        damping      of a second-order loop of given bandwidth
    level        error of set point and level                 height       level by hydrostatics
    noise        of a beat's pulse, by the variation's floor   gap share    that leaves windows of the wanted length
Quantities are those that 95 % of people keep in each of their states: a limit is somebody's, at any time of the day.
"""
from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from experiments.readings.limits.propagate import SHARE, UNITS, Response, changes, first_order, second_order
from experiments.readings.limits.waves import Waves
from experiments.readings.output.variation import BREATHS, floor_percent
from plant.errors import InputError
from plant.units import hydrostatic_mmHg

LOWEST_Hz, HIGHEST_Hz = 0.5, 200.0
MOST_LEVEL_mmHg = 60.0


class Wanted(NamedTuple):
    """Limits on readings; nan: none."""

    output_percent: float = math.nan
    systolic_mmHg: float = math.nan
    diastolic_mmHg: float = math.nan
    mean_mmHg: float = math.nan
    pulse_percent: float = math.nan
    variation_percent: float = math.nan  # largest value that noise alone may read
    window_s: float = 20.0  # unbroken time that a reading of variation takes
    availability: float = 0.8  # share of time in which such a window is to be had
    recalibration_s: float = 7200.0  # between searches: what the level may drift in
    natural_Hz: float = 20.0  # of the second-order loop whose damping is asked for

    @property
    def limits(self) -> dict[str, float]:
        """Limits on readings that a response changes, by name, those that were given."""
        given = {"systolic": self.systolic_mmHg, "diastolic": self.diastolic_mmHg, "mean": self.mean_mmHg,
                 "pulse": self.pulse_percent, "output": self.output_percent}
        return {name: limit for name, limit in given.items() if math.isfinite(limit)}


class Needed(NamedTuple):
    """What one limit asks of the loop, each spent on it alone; nan: it asks nothing, inf: it cannot be kept."""

    reading: str
    limit: float
    unit: str
    bandwidth_Hz: float
    damping: float
    level_mmHg: float
    height_cm: float
    drift_mmHg_h: float
    noise_mmHg: float  # SD of a beat's pulse pressure


def crossing(keeps: Callable[[float], bool], low: float, high: float, rising: bool = True) -> float:
    """Where a limit begins (rising) or ceases to be kept, on a logarithmic scale; nan when nothing in between keeps it.

    Rising: the least value from which on it is kept; else the largest up to which it is.
    """
    best, other = (high, low) if rising else (low, high)
    if not keeps(best):
        return math.nan
    if keeps(other):
        return other
    for _ in range(24):  # of a span of 400 leaves less than a millionth
        middle = math.sqrt(best * other)
        if keeps(middle):
            best = middle
        else:
            other = middle
    return best


def least_damping(error: Callable[[float], float], limit: float) -> float:
    """Least damping that keeps a limit, down from the best one; nan when even that misses it."""
    grid = np.arange(0.1, 1.21, 0.05)
    found = [error(float(z)) for z in grid]
    best = int(np.argmin(found))
    if found[best] > limit:
        return math.nan
    low = best
    while low > 0 and found[low - 1] <= limit:
        low -= 1
    if low == 0:
        return float(grid[0])
    return crossing(lambda z: error(z) <= limit, float(grid[low - 1]), float(grid[low]))


def needed(waves: Waves, wanted: Wanted) -> list[Needed]:
    """A row for every limit that was given. Raises InputError for limits that are none."""
    check(wanted)
    rows = [_row(waves, name, limit, wanted) for name, limit in wanted.limits.items()]
    if math.isfinite(wanted.variation_percent):
        noise = wanted.variation_percent / floor_percent(1.0, 4.0) * smallest_pulse_mmHg(waves)
        nan = math.nan
        rows.append(Needed("variation", wanted.variation_percent, "%", nan, nan, nan, nan, nan, noise))
    return rows


def check(wanted: Wanted) -> None:
    """Raise InputError, naming the option, for a limit that is not positive, and when there is none."""
    for name, value in wanted._asdict().items():
        if math.isfinite(value) and not value > 0.0:
            raise InputError(f"--{name.rsplit('_', 1)[0]} {value:g} must be above 0")
    if not wanted.availability < 1.0:
        raise InputError(f"--availability {wanted.availability:g} must be below 1")
    if not wanted.limits and not math.isfinite(wanted.variation_percent):
        raise InputError("no limit on a reading; give one of --output, --systolic, --diastolic, --mean, --pulse, "
                         "--variation")


def _row(waves: Waves, name: str, limit: float, wanted: Wanted) -> Needed:
    plain, field = waves.pressure_mmHg(), list(UNITS).index(name)

    def size(response: Response | None = None, level_mmHg: float = 0.0) -> float:
        return waves.largest(np.abs(changes(waves, response, level_mmHg, plain)[field]), SHARE)

    blind = name == "pulse"
    bandwidth = crossing(lambda f: size(first_order(f)) <= limit, LOWEST_Hz, HIGHEST_Hz)
    damping = least_damping(lambda z: size(second_order(wanted.natural_Hz, z)), limit)
    level = math.nan if blind else min(
        crossing(lambda p, sign=sign: size(level_mmHg=sign * p) <= limit, 1e-3, MOST_LEVEL_mmHg, False)  # type: ignore[misc]
        for sign in (-1.0, 1.0))
    noise = math.nan
    if name in ("pulse", "output"):
        noise = 0.01 * limit * smallest_pulse_mmHg(waves) / 1.645
    return Needed(name, limit, UNITS[name], bandwidth, damping, level, 100.0 * level / hydrostatic_mmHg(1.0),
                  level * 3600.0 / wanted.recalibration_s, noise)


def smallest_pulse_mmHg(waves: Waves) -> float:
    """Pulse pressure that SHARE of people do not fall below in any of their states."""
    return 1.0 / waves.largest(1.0 / np.ptp(waves.pressure_mmHg(), axis=1), SHARE)


def availability(run_s: float, gap_s: float, window_s: float) -> float:
    """Share of time in which a window ends that no gap broke: max(0, L − W)/(L + g)."""
    return max(0.0, run_s - window_s) / (run_s + gap_s)


def most_gap_share(window_s: float, wanted: float, gap_s: float) -> float:
    """Largest share of time that gaps of that length may take; nan where no spacing of them will do."""
    # (L − W)/(L + g) = a  ⇒  L = (W + a g)/(1 − a)
    run = (window_s + wanted * gap_s) / (1.0 - wanted)
    return gap_s / (run + gap_s)


def windows_needed_s(breaths_per_min: float) -> float:
    """Unbroken time for three breaths."""
    return 60.0 * BREATHS / breaths_per_min
