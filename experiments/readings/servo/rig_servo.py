"""The servo of a rig as its reading shows it: response from arterial pressure to the transducer, and its noise."""
from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from controller.margins.following import Following, noise_rms_mmHg
from controller.margins.loop import build_loop, sides
from controller.tick.law import design
from experiments.readings.servo.inverse import ServoKnown
from experiments.rigs.rig import Rig, clamp
from plant.finger.light import sample_deviation

Samples = NDArray[np.float64]
Complex = NDArray[np.complex128]

GRID_Hz = np.concatenate([[0.02, 0.1], np.arange(0.25, 80.25, 0.25)])
LOWEST_mmHg, HIGHEST_mmHg = 50.0, 150.0  # mean pressure that the loop is linearised at, whatever was read


def rig_servo(rig: Rig, mean_mmHg: float) -> ServoKnown:
    """The linear loop at a mean arterial pressure; both sides of a flow valve are averaged. Raises InputError."""
    point = clamp(rig, min(max(mean_mmHg, LOWEST_mmHg), HIGHEST_mmHg), rig.tone.level)
    law = design(rig.controller, rig.timing.period_s)
    gains, noises = [], []
    for side in sides(rig.plant):
        loop = build_loop(rig.plant, point, side, rig.timing, rig.stage, law)
        gains.append(Following(loop, 2.0 * np.pi * GRID_Hz).reading_gain(law))
        light = sample_deviation(rig.plant.light) / abs(loop.light_slope)
        noises.append(noise_rms_mmHg(loop, law, light, 0.0, 0.0))
    gain = np.mean(gains, axis=0) * rig.plant.tissue.transmission

    def response(frequency_Hz: Samples) -> Complex:
        real = np.interp(frequency_Hz, GRID_Hz, gain.real)
        imaginary = np.interp(frequency_Hz, GRID_Hz, gain.imag)
        return np.asarray(np.where(frequency_Hz > 0.0, real + 1j * imaginary, 1.0))

    below = np.flatnonzero(np.abs(gain) < math.sqrt(0.5))
    width = float(GRID_Hz[below[0] if len(below) else -1])
    transducer = rig.plant.transducer
    steps = transducer.full_scale_mmHg * 2.0**-transducer.bits / math.sqrt(12.0) if transducer.bits else 0.0
    own = math.hypot(transducer.noise_mmHg, steps) * math.sqrt(2.0 * rig.timing.period_s * width)  # as much as is in it
    return ServoKnown(response, math.hypot(max(noises), own), width)
