"""The limit for one finger: what the best of all linear controllers would reach at its mean pressure, exactly known.

It keeps the bound on |S| alone. A tuning has to keep more (other margins, every other finger, low and high pressure, a
light slope that is off), so no controller that meets the requirements gets below it. Beside it stands the best that
is sure to keep the delay margin d too, by small gain: |T| |e^{−jωτ} − 1| < 1 for every τ up to d, which is more than
it takes. The true limit lies between the two. Q remembers TAPS ticks, less than a beat: with much more it would learn
the pulse rate of this one finger, as a repetitive controller does.
"""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.margins.many_settings import Prepared
from controller.response import sweep
from controller.tick.law import Coefficients
from controller.tuning.best_possible import Limit, LoopSamples, best_possible
from experiments.design.tune.cases import Case
from experiments.design.tune.limits import MarginLimit, largest_peak, least_delay_ticks

Reals = NDArray[np.float64]
Complexes = NDArray[np.complex128]

TAPS = 120
LOW_Hz, FINE, EVEN = 0.05, 200, 480  # frequencies of the bound: logarithmic, and even with the noise spread over them


class Bound(NamedTuple):
    """The limit of one finger, and how sure it is."""

    finger: str
    rms_mmHg: float
    pressure_mmHg: float  # share of it that arterial pressure makes
    noise_mmHg: float  # and noise
    half_taps_mmHg: float  # the same with half the taps: what is still to be gained
    delay_bound_mmHg: float  # the best that is sure to keep the delay margin too
    delay_margin_ticks: float  # of that controller, which nobody asked for
    omega_rad_s: Reals  # of the grid, in order
    sensitivity: Complexes


def finger_samples(case: Case, coefficients: Coefficients) -> tuple[LoopSamples, NDArray[np.intp]]:
    """A finger's loop at mean pressure on a grid that is fine enough to bound |S| on; and the order of frequency."""
    loop, disturbance = case.loops[0], case.disturbances[0]
    top = math.pi / loop.period_s
    held = disturbance.pressure_mmHg2 > 0.0
    omega = np.concatenate([
        disturbance.omega_rad_s[held], np.geomspace(2.0 * math.pi * LOW_Hz, 0.6 * top, FINE),
        top * (np.arange(EVEN) + 0.5) / EVEN,
    ])
    pressure, noise = np.zeros(len(omega)), np.zeros(len(omega))
    pressure[: np.count_nonzero(held)] = disturbance.pressure_mmHg2[held]
    # many more points than taps: a long Q would else hide the noise between them
    noise[-EVEN:] = np.sum(disturbance.noise_mmHg2) / EVEN
    samples = LoopSamples(omega, sweep(loop.plant, omega), sweep(coefficients, omega), pressure, noise, loop.period_s,
                          1 if coefficients.integral_new != 0.0 else 0)
    return samples, np.argsort(omega, kind="stable")


def finger_bound(
    case: Case, coefficients: Coefficients, limits: tuple[MarginLimit, ...], taps: int = TAPS,
    quick: bool = False,
) -> Bound:
    """The limit of a finger, from any controller that keeps its loop stable; NaN where none keeps the limits.

    Of a valve with two unlike sides the filling side is taken. `quick` leaves out the look at half the taps.
    """
    samples, order = finger_samples(case, coefficients)
    peak = largest_peak(limits)
    half_rms = math.nan if quick else best_possible(samples, peak, taps // 2).rms_mmHg
    found = best_possible(samples, peak, taps)
    delay_bound = best_possible(samples, peak, taps, small_gain(samples, least_delay_ticks(limits, samples.period_s)))
    pressure, noise = error_parts(samples, found)
    omega, sensitivity = samples.omega_rad_s[order], found.sensitivity[order]
    return Bound(case.finger.name, found.rms_mmHg, pressure, noise, half_rms, delay_bound.rms_mmHg,
                 delay_margin_ticks(omega * samples.period_s, sensitivity), omega, sensitivity)


def small_gain(samples: LoopSamples, delay_ticks: float) -> Reals | None:
    """Bound on |T| at each frequency that makes sure of a delay margin; None when none is asked for."""
    if delay_ticks <= 0.0:
        return None
    turn = np.minimum(samples.omega_rad_s * samples.period_s * delay_ticks, math.pi)
    return np.asarray(0.5 / np.sin(0.5 * turn))


def error_parts(samples: LoopSamples, found: Limit) -> tuple[float, float]:
    """Rms [mmHg] that pressure and noise make of a limit's error."""
    pressure = float(np.sum(samples.pressure_mmHg2 * np.abs(found.sensitivity) ** 2))
    noise = float(np.sum(samples.noise_mmHg2 * np.abs(1.0 - found.sensitivity) ** 2))
    return math.sqrt(pressure), math.sqrt(noise)


def delay_margin_ticks(angle_rad: Reals, sensitivity: Complexes) -> float:
    """Delay margin [ticks] of a stable loop from its S along rising angle ωT: crossovers are where |L| passes one."""
    loop = 1.0 / sensitivity - 1.0
    size = np.log(np.abs(loop))
    crossing = np.nonzero(np.diff(np.sign(size)) != 0)[0]
    least = math.inf
    for i in crossing:
        share = size[i] / (size[i] - size[i + 1])
        at = angle_rad[i] + share * (angle_rad[i + 1] - angle_rad[i])
        above = float(np.angle(-(loop[i] + share * (loop[i + 1] - loop[i])))) % (2.0 * math.pi)
        least = min(least, above / at)
    return least


def tuned_sensitivity(loop: Prepared, coefficients: Coefficients, omega_rad_s: Reals) -> Complexes:
    """S of a finger's loop under given settings, for a picture beside the limit's."""
    return np.asarray(1.0 / (1.0 + sweep(loop.plant, omega_rad_s) * sweep(coefficients, omega_rad_s)))
