"""What pressure and noise make of a loop: the servo's error and the command's activity, for many settings, compiled.

With the sensitivity S = 1/(1 + L), T = 1 − S, arterial pressure r and what the veins add to the light w (both in mmHg):
    error of the cuff  −S r + T w,       demand  C S (r + w + noise),
and what noise makes of the cuff goes by the sampled plant's own way from demand to cuff pressure, which is quicker than
the light's. The command is the demand through the slope of the actuator stage, its inner loop closed.
"""
from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.margins.loop import Loop, sampled
from controller.margins.sampled import SampledPlant, sampled_row
from controller.margins.survey import filled
from controller.response import response, sweep
from controller.tick.law import Coefficients
from plant.declare import compiled

Reals = NDArray[np.float64]
Complexes = NDArray[np.complex128]

NOISE_POINTS = 96  # up to half the tick rate, over which the noise of a sample is spread evenly


class Spectrum(NamedTuple):
    """What the light shows besides noise, by frequency; arrays of shape (n,), variances in mmHg²."""

    frequency_Hz: Reals
    pressure_mmHg2: Reals  # of arterial pressure
    venous_mmHg2: Reals  # of the veins' light, through its slope
    cross_mmHg2: Complexes  # of pressure with the conjugate of the veins'


class Disturbance(NamedTuple):
    """What disturbs a loop, and its plant at those frequencies; arrays of shape (n,)."""

    omega_rad_s: Reals
    plant: Complexes  # −error per demand [mmHg]
    cuff: Complexes  # cuff pressure, as the tissue passes it on, per demand [mmHg]
    command: Complexes  # valve command per demand
    pressure_mmHg2: Reals  # variance of arterial pressure at each frequency
    venous_mmHg2: Reals  # of what the veins add to the light, through its slope
    cross_mmHg2: Complexes
    noise_mmHg2: Reals  # variance of the light's noise, through its slope
    room_low: float  # from the operating point down to the command's lower limit
    room_high: float  # and up to the upper one

    def with_slope(self, ratio: float) -> Disturbance:
        """The same with the error normalised by another light slope, this many times the old one."""
        return self._replace(plant=self.plant / ratio, venous_mmHg2=self.venous_mmHg2 / ratio**2,
                             cross_mmHg2=self.cross_mmHg2 / ratio, noise_mmHg2=self.noise_mmHg2 / ratio**2)

    def above(self, lowest_Hz: float) -> Disturbance:
        """The same without what pressure and veins do below a frequency."""
        keep = self.omega_rad_s > 2.0 * math.pi * lowest_Hz
        return self._replace(pressure_mmHg2=np.where(keep, self.pressure_mmHg2, 0.0),
                             venous_mmHg2=np.where(keep, self.venous_mmHg2, 0.0),
                             cross_mmHg2=np.where(keep, self.cross_mmHg2, 0.0))


class Disturbed(NamedTuple):
    """What each setting makes of a disturbance, shape (settings,); it means something only where a loop is stable."""

    pressure_mmHg: Reals  # rms of the servo's error by pressure and veins
    noise_mmHg: Reals  # and by the light's noise
    command_pulse_rms: Reals  # of the command about its operating point, by pressure and veins
    command_noise_rms: Reals  # and by noise
    command_step_sd: Reals  # of the command's change from tick to tick
    command_limit_share: Reals  # predicted share of ticks at a limit of the command

    @property
    def rms_mmHg(self) -> Reals:
        """The servo's whole error."""
        return np.hypot(self.pressure_mmHg, self.noise_mmHg)


EFFORTS = ("command_noise_rms", "command_pulse_rms", "command_step_sd", "command_limit_share")


def disturbance_of(loop: Loop, spectrum: Spectrum, noise_mmHg: float) -> Disturbance:
    """A loop's plant where its pressure has variance and, evenly up to half the tick rate, where noise has.

    `noise_mmHg` is the SD of a sample of light through the light's slope.
    """
    period = loop.timing.period_s
    omega = 2.0 * np.pi * spectrum.frequency_Hz
    whole = np.concatenate([omega, np.pi / period * (np.arange(NOISE_POINTS) + 0.5) / NOISE_POINTS])
    none = np.zeros(NOISE_POINTS)
    inner = 1.0 - loop.by_reading * sweep(_bare(loop, loop.discrete.c[1]), whole)
    cuff = loop.plant.tissue.transmission * loop.by_demand * sweep(_bare(loop, loop.discrete.cuff), whole) / inner
    law, rest = loop.coefficients, loop.point.command
    return Disturbance(
        whole, sweep(sampled(loop), whole), cuff, loop.by_demand / inner,
        np.concatenate([spectrum.pressure_mmHg2, none]), np.concatenate([spectrum.venous_mmHg2, none]),
        np.concatenate([spectrum.cross_mmHg2, none.astype(complex)]),
        np.concatenate([np.zeros(len(omega)), np.full(NOISE_POINTS, noise_mmHg**2 / NOISE_POINTS)]),
        max(rest - law.output_low, 0.0), max(law.output_high - rest, 0.0),
    )


def _bare(loop: Loop, row: Reals) -> SampledPlant:
    """The sampled way from command to one output, without the actuator stage."""
    return sampled_row(loop.discrete, row)


@compiled
def disturbed_variances(template: Any, rows: Reals, disturbance: Disturbance) -> Reals:
    """Variances under each row, shape (rows, 5): error by pressure and by noise [mmHg²], command by pressure and by
    noise, and its change from tick to tick."""
    omega, plant, cuff, command = disturbance[0], disturbance[1], disturbance[2], disturbance[3]
    pressure, venous, cross, noise = disturbance[4], disturbance[5], disturbance[6], disturbance[7]
    found = np.zeros((len(rows), 5))
    for i in range(len(rows)):
        controller = filled(template, rows[i])
        for k in range(len(omega)):
            law = response(controller, omega[k])
            gain = plant[k] * law
            back = 1.0 + gain
            size = back.real * back.real + back.imag * back.imag
            square = gain.real * gain.real + gain.imag * gain.imag
            mixed = gain.real * cross[k].real + gain.imag * cross[k].imag  # Re(L* X)
            drive = (law.real * law.real + law.imag * law.imag) / size  # |C S|²
            at_valve = drive * (command[k].real * command[k].real + command[k].imag * command[k].imag)
            change = 2.0 * math.sin(0.5 * omega[k] * controller.period_s)
            pulse = pressure[k] + venous[k] + 2.0 * cross[k].real
            found[i, 0] += (pressure[k] + square * venous[k] - 2.0 * mixed) / size
            found[i, 1] += noise[k] * drive * (cuff[k].real * cuff[k].real + cuff[k].imag * cuff[k].imag)
            found[i, 2] += pulse * at_valve
            found[i, 3] += noise[k] * at_valve
            found[i, 4] += (pulse + noise[k]) * at_valve * change * change
    return found


def disturbed(template: Coefficients, rows: Reals, disturbance: Disturbance) -> Disturbed:
    """Error and command activity under each row of coefficients.

    The share at a limit takes the command for Gaussian about its operating point, Q(room/σ) at either limit (common
    practice). A pulse is no Gaussian: its upstroke reaches further. The share counts it by its rms only.
    """
    from scipy.special import ndtr

    variances = disturbed_variances(template, np.ascontiguousarray(rows), disturbance)
    roots = np.sqrt(np.maximum(variances, 0.0)).T
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = np.hypot(roots[2], roots[3])
        share = ndtr(-disturbance.room_low / spread) + ndtr(-disturbance.room_high / spread)
    return Disturbed(roots[0], roots[1], roots[2], roots[3], roots[4],
                     np.minimum(np.where(spread > 0.0, share, 0.0), 1.0))


def servo_errors(template: Coefficients, rows: Reals, disturbance: Disturbance) -> tuple[Reals, Reals]:
    """Rms [mmHg] of the servo's error by pressure and by noise under each row of coefficients."""
    found = disturbed(template, rows, disturbance)
    return found.pressure_mmHg, found.noise_mmHg
