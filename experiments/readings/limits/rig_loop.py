"""A rig's loop as readings see it: its response from arterial to cuff pressure, and the noise of a beat."""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from controller.margins.following import Following, noise_rms_mmHg
from controller.margins.loop import build_loop, sides
from controller.tick.law import design
from experiments.readings.limits.propagate import Complex, Response, Samples
from experiments.rigs.rig import Rig, clamp
from plant.finger.light import sample_deviation

GRID_Hz = np.concatenate([[0.02, 0.1], np.arange(0.25, 80.25, 0.25)])


class RigLoop(NamedTuple):
    """One rig at one mean pressure."""

    response: Response  # of the mean of both sides of its valve
    bandwidth_Hz: float  # where |T| first falls to 1/√2; inf when it does not
    peak: float  # largest |T|
    noise_mmHg: float  # rms of cuff pressure by light noise, above what a beat averages


def rig_loop(rig: Rig, mean_mmHg: float) -> RigLoop:
    """The linear loop around a clamp at that pressure. Raises InputError for a rig that cannot clamp there."""
    point = clamp(rig, mean_mmHg, rig.tone.level)
    law = design(rig.controller, rig.timing.period_s)
    gains, noises = [], []
    for side in sides(rig.plant):
        loop = build_loop(rig.plant, point, side, rig.timing, rig.stage, law)
        gains.append(Following(loop, 2.0 * np.pi * GRID_Hz).gain(law))
        light = sample_deviation(rig.plant.light) / abs(loop.light_slope)
        noises.append(noise_rms_mmHg(loop, law, light, 0.0, 0.0))
    gain = np.mean(gains, axis=0) * rig.plant.tissue.transmission
    size = np.abs(gain)
    below = np.flatnonzero(size < math.sqrt(0.5))
    bandwidth = float(GRID_Hz[below[0]]) if len(below) else math.inf

    def response(frequency_Hz: Samples) -> Complex:
        real = np.interp(frequency_Hz, GRID_Hz, gain.real)
        imaginary = np.interp(frequency_Hz, GRID_Hz, gain.imag)
        return np.asarray(np.where(frequency_Hz > 0.0, real + 1j * imaginary, 1.0))

    return RigLoop(response, bandwidth, float(np.max(size)), float(np.max(noises)))
