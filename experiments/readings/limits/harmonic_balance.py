"""A beat for ever through a loop whose static laws bend, by harmonic balance (common practice; Nakhla & Vlach 1976,
from memory): gains of the linear loop on every harmonic, and what each law bends off its tangent as a disturbance.

    s = H_p p + Σ_j H_j d_j,    d_j = N_j(s)
d is put in again until it stays; nothing is stepped in time. With no disturbance at all it is T(jω).
"""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.readings.limits.curves import Curves, GRID_mmHg

Samples = NDArray[np.float64]
Complex = NDArray[np.complex128]

CAUSES = ("arterial_pressure", "extra_area", "extra_flow", "extra_edge", "extra_middle")
HEARD = ("cuff_pressure", "transmural_pressure", "edge_transmural")
POINTS = 256  # samples of a beat at which the laws are asked
RELAXED, MOST, ENOUGH_mmHg = 0.5, 60, 2e-3
FEW = 64  # beats at once, which then stop together


class LoopGains(NamedTuple):
    """Gains of a closed loop, and the laws in it."""

    frequency_Hz: Samples  # (grid,)
    gain: Complex  # (HEARD, CAUSES, grid)
    curves: Curves

    def at(self, frequency_Hz: Samples) -> Complex:
        """Gains at other frequencies, (HEARD, CAUSES, *frequencies); below the grid as at its start."""
        rows = self.gain.reshape(-1, len(self.frequency_Hz))
        found = np.array([np.interp(frequency_Hz, self.frequency_Hz, row.real)
                          + 1j * np.interp(frequency_Hz, self.frequency_Hz, row.imag) for row in rows])
        return np.asarray(found.reshape(*self.gain.shape[:2], *np.shape(frequency_Hz)))


def balanced(gains: LoopGains, harmonics: Complex, interval_s: Samples) -> tuple[Complex, Samples]:
    """Harmonics of cuff pressure for those of arterial pressure about the operating point, both (states, harmonics),
    and what the last step still changed, (states,) [mmHg of transmural pressure]."""
    number = np.arange(harmonics.shape[1])
    found, left = np.empty(harmonics.shape, complex), np.empty(len(harmonics))
    for first in range(0, len(harmonics), FEW):
        some = slice(first, first + FEW)
        frequency = number / interval_s[some, None]
        found[some], left[some] = _few(gains, gains.at(frequency), 2.0 * np.pi * frequency, harmonics[some])
    return found, left


def _few(gains: LoopGains, gain: Complex, omega: Samples, harmonics: Complex) -> tuple[Complex, Samples]:
    extra = np.zeros((len(CAUSES) - 1, *harmonics.shape), complex)
    straight, slope = gain[:, 0] * harmonics, gains.curves.compliance
    left = np.full(len(harmonics), np.inf)
    for _ in range(MOST):
        heard = [_wave(h) for h in straight[1:] + np.sum(gain[1:, 1:] * extra, axis=1)]
        cuff = _wave(straight[0] + np.sum(gain[0, 1:] * extra, axis=0))
        step = _bent(gains.curves, cuff, heard, omega) - extra
        extra += RELAXED * step
        left = np.max(np.abs(step[0]), axis=1) / slope
        if np.all(left < ENOUGH_mmHg):
            break
    return np.asarray(straight[0] + np.sum(gain[0, 1:] * extra, axis=0)), left


def _bent(curves: Curves, cuff: Samples, heard: list[Samples], omega: Samples) -> Complex:
    """The disturbances that the laws make of what they hear, in the order of CAUSES."""
    middle, edge = heard
    area = np.interp(middle, GRID_mmHg, curves.area)
    whole, mean = (np.mean(x, axis=1, keepdims=True) for x in (area, middle))
    area = whole + curves.fast * (area - whole)
    tangent = curves.compliance * (mean + curves.fast * (middle - mean))
    seen = -np.expm1(-curves.depth * area) / curves.depth
    rate = -1j * omega
    end, centre = curves.shares
    return np.array([
        _spectrum(seen - tangent, omega), rate * _spectrum(np.interp(cuff, GRID_mmHg, curves.cuff_mL), omega),
        rate * end * _spectrum(np.interp(edge, GRID_mmHg, curves.artery_s), omega),
        rate * centre * _spectrum(np.interp(middle, GRID_mmHg, curves.artery_s), omega),
    ])


def _wave(harmonics: Complex) -> Samples:
    spectrum = np.zeros((len(harmonics), POINTS // 2 + 1), complex)
    spectrum[:, : harmonics.shape[1]] = harmonics
    return np.asarray(np.fft.irfft(spectrum * POINTS, POINTS, axis=1))


def _spectrum(wave: Samples, like: Samples) -> Complex:
    return np.asarray(np.fft.rfft(wave, axis=1)[:, : like.shape[1]] / POINTS)
