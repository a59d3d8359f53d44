"""Fit of the arctangent law to the pulsations of a staircase: what a beat does to the light at each cuff pressure.

    rise(P) = α [F((S − P)/w) − F((D − P)/w)],   F(x) = atan(x)/π      (Langewouters, Wesseling & Goedhard 1984)
α: optical depth between an empty and a full artery, quick share only; S, D: systolic and diastolic pressure less p0, as
the cuff would read them; w: half-width p1. Only rises enter, so that veins, creep and offsets of the light drop out.
"""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from calibrate.protocol import Samples
from calibrate.search.staircase import Step

WIDTH_mmHg, WIDTH_SPREAD = 16.0, 0.5  # what is believed of w before: log-normal (invented)
PULSE_mmHg, PULSE_SPREAD = 45.0, 0.6  # and of S − D
RISE_ERROR = 0.08  # relative error of a rise: beats differ with respiration (invented, of the size seen)
NOISE_RISE = 4.0  # what noise alone adds to a rise, in its standard deviations: a rise is a largest difference
LOWEST_DIASTOLE_mmHg = 10.0  # as the cuff reads it; below, the fit is pulled back (invented)
MEAN_SHARE = 0.4  # mean pressure between D and S: form factors run from 0.33 to 0.5 (Chemla et al. 2002)


class ArctangentFit(NamedTuple):
    """The law that explains a staircase."""

    depth: float  # α
    width_mmHg: float  # w
    systolic_mmHg: float  # S
    diastolic_mmHg: float  # D
    middle_sd_mmHg: float  # standard deviation of (S + D)/2 from the fit
    misfit: float  # RMS of the weighted residuals, 1 where beats scatter as expected

    def share(self, pressure_mmHg: float | Samples) -> float | Samples:
        """F of a pressure less the cuff's: −½ … ½, 0 at the unloaded volume."""
        return np.arctan(np.asarray(pressure_mmHg) / self.width_mmHg) / math.pi

    @property
    def middle_mmHg(self) -> float:
        """Cuff pressure of the largest pulsation."""
        return 0.5 * (self.systolic_mmHg + self.diastolic_mmHg)

    @property
    def mean_mmHg(self) -> float:
        """Cuff pressure at which the artery is unloaded at mean pressure, by the usual form of a pulse."""
        return self.diastolic_mmHg + MEAN_SHARE * (self.systolic_mmHg - self.diastolic_mmHg)

    @property
    def relative_slope(self) -> float:
        """Light per mmHg of cuff pressure at the unloaded volume, as a share of the light [1/mmHg]."""
        return self.depth / (math.pi * self.width_mmHg)

    def unloaded_depth(self, step: Step) -> float:
        """Optical depth at which the artery was unloaded during a step."""
        return step.foot - self.depth * float(self.share(self.diastolic_mmHg - step.pressure_mmHg))


def fit_arctangent(steps: list[Step]) -> ArctangentFit:
    """The most likely law behind the rises of a staircase, with weak prior beliefs; needs four steps or more."""
    from scipy.optimize import least_squares

    pressure = np.array([s.pressure_mmHg for s in steps])
    rise = np.array([s.rise for s in steps])
    best = float(np.max(rise))
    error = np.hypot(RISE_ERROR * rise, np.hypot(0.02 * best, [NOISE_RISE * s.noise for s in steps]))

    def law(x: Samples) -> Samples:
        depth, width, middle, half = np.exp(x[0]), np.exp(x[1]), x[2], 0.5 * np.exp(x[3])
        return np.asarray(
            depth * (np.arctan((middle + half - pressure) / width) - np.arctan((middle - half - pressure) / width))
            / math.pi)

    def residuals(x: Samples) -> Samples:
        prior = [(x[1] - math.log(WIDTH_mmHg)) / WIDTH_SPREAD, (x[3] - math.log(PULSE_mmHg)) / PULSE_SPREAD]
        low = max(LOWEST_DIASTOLE_mmHg - (x[2] - 0.5 * np.exp(x[3])), 0.0) / 4.0
        return np.concatenate([(law(x) - rise) / error, prior, [low]])

    start = np.array([math.log(2.0 * best), math.log(WIDTH_mmHg), pressure[int(np.argmax(rise))], math.log(PULSE_mmHg)])
    found = least_squares(residuals, start, method="trf", x_scale=[0.3, 0.3, 10.0, 0.3])
    depth, width, middle, pulse = found.x
    covariance = np.linalg.pinv(found.jac.T @ found.jac)
    half = 0.5 * math.exp(pulse)
    misfit = float(np.sqrt(np.mean(residuals(found.x)[: len(steps)] ** 2)))
    return ArctangentFit(
        math.exp(depth), math.exp(width), middle + half, middle - half, math.sqrt(covariance[2, 2]), misfit
    )
