"""Upper-arm cuff readings as references of one wearer: a shift and a gain that move as far as they are told to.

    p = m + shift + gain (p̂ − m),   m the mean that goes with the first reference
Before a reference, shift and gain have the spread of people; each pair of systolic and diastolic pressure, with its own
error, narrows it (Bayesian linear regression, textbook). A reference ages: what it told loses weight with time.
"""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from plant.errors import InputError

Samples = NDArray[np.float64]
SHIFT_SD_mmHg, GAIN_SD = 9.0, 0.12  # of people before any reference (invented)
AGING_mmHg_sqrt_h = 2.0  # random walk of the shift between references (invented)


class CuffReference(NamedTuple):
    """What an upper-arm cuff read, and what was estimated for the same moment [mmHg]."""

    time_s: float
    systolic_mmHg: float
    diastolic_mmHg: float
    estimated_systolic_mmHg: float
    estimated_diastolic_mmHg: float
    sd_mmHg: float = 3.0  # of the cuff's own reading


class Referenced(NamedTuple):
    """What is known of a wearer's shift and gain."""

    middle_mmHg: float
    shift_mmHg: float
    gain: float
    covariance: tuple[tuple[float, float], tuple[float, float]]  # of shift and gain
    time_s: float

    def apply(self, pressure_mmHg: Samples) -> Samples:
        """Estimated pressures with shift and gain."""
        return np.asarray(self.middle_mmHg + self.shift_mmHg + self.gain * (pressure_mmHg - self.middle_mmHg))

    def sd_mmHg(self, pressure_mmHg: float, time_s: float) -> float:
        """SD that shift and gain leave at an estimated pressure and a time; it grows with the reference's age."""
        row = np.array([1.0, pressure_mmHg - self.middle_mmHg])
        own = float(row @ np.array(self.covariance) @ row)
        return float(np.sqrt(own + AGING_mmHg_sqrt_h**2 * max(time_s - self.time_s, 0.0) / 3600.0))


UNREFERENCED = Referenced(90.0, 0.0, 1.0, ((SHIFT_SD_mmHg**2, 0.0), (0.0, GAIN_SD**2)), 0.0)


def referenced(references: list[CuffReference]) -> Referenced:
    """Shift and gain by one or more references, in order of time. Without any, those of people. Raises InputError."""
    if not references:
        return UNREFERENCED
    for one in references:
        if not 20.0 <= one.diastolic_mmHg < one.systolic_mmHg <= 300.0:
            raise InputError(f"reference at {one.time_s:g} s: {one.systolic_mmHg:g}/{one.diastolic_mmHg:g} mmHg must "
                             "be systolic above diastolic, within 20 … 300")
    first = references[0]
    middle = (first.estimated_systolic_mmHg + 2.0 * first.estimated_diastolic_mmHg) / 3.0
    mean, spread = np.array([0.0, 1.0]), np.diag([SHIFT_SD_mmHg**2, GAIN_SD**2])
    before = first.time_s
    for one in references:
        spread = spread + np.diag([AGING_mmHg_sqrt_h**2 * max(one.time_s - before, 0.0) / 3600.0, 0.0])
        before = one.time_s
        for seen, estimate in ((one.systolic_mmHg, one.estimated_systolic_mmHg),
                               (one.diastolic_mmHg, one.estimated_diastolic_mmHg)):
            row = np.array([1.0, estimate - middle])
            gain = spread @ row / (row @ spread @ row + one.sd_mmHg**2)
            mean = mean + gain * (seen - middle - row @ mean)
            spread = spread - np.outer(gain, row @ spread)
    (a, b), (c, d) = spread.tolist()
    return Referenced(middle, float(mean[0]), float(mean[1]), ((a, b), (c, d)), before)
