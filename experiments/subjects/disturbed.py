"""What disturbs a rig's loop on a pressure trace: the pressure, what it does to the veins, and the light's noise.

The clamp hands arterial pressure on to the veins under the cuff. They empty and refill in its rhythm, and the light
takes their volume for the artery's: v(t) follows its own law under p_a − p0, and counts through the light's slope.
"""
from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from controller.margins.disturbed import Disturbance, Spectrum, disturbance_of
from controller.margins.loop import Loop
from experiments.rigs.rig import Rig
from experiments.subjects.spectrum import SEGMENT_s, joint_variance
from plant.declare import compiled
from plant.finger.artery import unloaded_pressure
from plant.finger.light import sample_deviation
from plant.finger.vein import Vein, vein_rate, vein_target
from plant.pressure.record import PressureTrace

Reals = NDArray[np.float64]

HIGHEST_Hz = 60.0  # nothing of a pulse lies above


@compiled
def venous_volume(vein: Vein, external_mmHg: Reals, period_s: float) -> Reals:
    """Volume of the veins (fraction) under an external pressure on ticks, played twice so that the start is forgotten;
    shape of `external_mmHg`. By Euler's rule: a tick is a thousandth of their time constants."""
    found = np.empty(len(external_mmHg))
    volume = vein_target(vein, float(np.mean(external_mmHg)))
    for _ in range(2):
        for k in range(len(external_mmHg)):
            found[k] = volume
            volume += period_s * vein_rate(vein, volume, external_mmHg[k])
    return found


def light_spectrum(loop: Loop, tone: float, trace: PressureTrace) -> Spectrum:
    """Spectrum of a trace and of what the veins make of it on the loop's finger, in bands.

    A trace shorter than one segment is repeated. Raises nothing of its own.
    """
    plant, period = loop.plant, trace.period_s
    pressure = trace.pressure_mmHg
    least = 2 * round(0.5 * SEGMENT_s / period)
    if len(pressure) < least:
        pressure = np.resize(pressure, least)
    law = plant.light
    rest = float(unloaded_pressure(plant.artery, tone))
    lit = loop.point.light - loop.point.around.ambient
    per_volume = lit * law.venous_absorption_per_cm * law.venous_path_cm
    volume = venous_volume(plant.vein, np.ascontiguousarray(pressure - rest), period)
    veins = plant.tissue.transmission * per_volume / abs(loop.light_slope) * volume
    return Spectrum(*joint_variance(pressure, veins, period, HIGHEST_Hz))


def disturbances(loops: list[Loop], rig: Rig, trace: PressureTrace) -> list[Disturbance]:
    """What disturbs each of a rig's loops on a trace."""
    found = []
    for loop in loops:
        noise = sample_deviation(rig.plant.light) / abs(loop.light_slope)
        found.append(disturbance_of(loop, light_spectrum(loop, rig.tone.level, trace), noise))
    return found
