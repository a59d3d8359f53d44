"""A rig's loop as readings see it: its response from arterial to cuff pressure, what its curved laws add to that in a
beat, and the noise of a beat."""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from controller.margins.following import closed_gains, noise_rms_mmHg
from controller.margins.loop import Loop, build_loop, sides
from controller.tick.law import design
from experiments.readings.limits.curves import curves
from experiments.readings.limits.harmonic_balance import CAUSES, HEARD, LoopGains, balanced
from experiments.readings.limits.propagate import Complex, Response, Samples
from experiments.readings.limits.waves import Waves
from experiments.rigs.rig import Rig, clamp
from plant.finger.light import sample_deviation
from plant.finger.segment import per_storage, segment_line
from plant.linear import Linear, join
from plant.operating_point import part_twins

GRID_Hz = np.concatenate([[1e-3, 0.02, 0.1], np.arange(0.25, 80.25, 0.25)])
ASTRAY_mmHg = 0.5  # left of the balance, beyond which it has not been found


class RigLoop(NamedTuple):
    """One rig at one mean pressure."""

    response: Response  # of the mean of both sides of its valve
    bandwidth_Hz: float  # where |T| first falls to 1/√2; inf when it does not
    peak: float  # largest |T|
    noise_mmHg: float  # rms of cuff pressure by light noise, above what a beat averages
    gains: LoopGains
    transmission: float

    def followed_mmHg(self, waves: Waves) -> Samples:
        """What is read of each beat, (states, POINTS): by the response, and by what curved laws add to it.

        A beat whose balance is not found, far beyond what a loop is built for, is followed by the response alone.
        """
        own = waves.harmonics.copy()
        own[:, 0] = 0.0
        found, left = balanced(self.gains, own, waves.interval_s)
        found *= self.transmission
        linear = own * self.response(waves.frequency_Hz)
        found = np.where((left < ASTRAY_mmHg)[:, None], found, linear)
        found[:, 0] += waves.harmonics[:, 0]
        return waves._replace(harmonics=found).pressure_mmHg()


def rig_loop(rig: Rig, mean_mmHg: float) -> RigLoop:
    """The loop around a clamp at that pressure. Raises InputError for a rig that cannot clamp there."""
    point = clamp(rig, mean_mmHg, rig.tone.level)
    law = design(rig.controller, rig.timing.period_s)
    found, noises = [], []
    for side in sides(rig.plant):
        loop = build_loop(rig.plant, point, side, rig.timing, rig.stage, law)
        closed = closed_gains(loop, disturbed_twin(loop), 2.0 * np.pi * GRID_Hz)
        found.append([[closed[heard, cause] for cause in CAUSES] for heard in HEARD])
        light = sample_deviation(rig.plant.light) / abs(loop.light_slope)
        noises.append(noise_rms_mmHg(loop, law, light, 0.0, 0.0))
    gains = LoopGains(GRID_Hz, np.mean(np.array(found), axis=0), curves(rig.plant, point))
    gain = gains.gain[0, 0] * rig.plant.tissue.transmission
    size = np.abs(gain)
    below = np.flatnonzero(size < math.sqrt(0.5))
    bandwidth = float(GRID_Hz[below[0]]) if len(below) else math.inf

    def response(frequency_Hz: Samples) -> Complex:
        real = np.interp(frequency_Hz, GRID_Hz, gain.real)
        imaginary = np.interp(frequency_Hz, GRID_Hz, gain.imag)
        return np.asarray(np.where(frequency_Hz > 0.0, real + 1j * imaginary, 1.0))

    return RigLoop(response, bandwidth, float(np.max(size)), float(np.max(noises)), gains,
                   rig.plant.tissue.transmission)


def disturbed_twin(loop: Loop) -> Linear:
    """The plant's twin with what the curved laws disturb as inputs: area seen, flow into the cuff, and flow [half
    segments a second] into the segment's end and middle."""
    plant, point = loop.plant, loop.point
    parts = part_twins(plant, point, loop.side)
    line = segment_line(plant.segment, plant.artery, point.around.tone)
    pliant = float(per_storage(line, point.around.arterial_mmHg - point.state.external_mmHg))
    parts["cuff"] = _wider(parts["cuff"], parts["cuff"].b[:, :1], "extra_flow")
    parts["photodiode"] = _wider(parts["photodiode"], parts["photodiode"].b[:, :1], "extra_area")
    segment = _wider(parts["segment"], np.diag([line.per_end, 0.0, line.per_middle])[:, ::2] * pliant,
                     "extra_edge", "extra_middle")
    parts["segment"] = segment._replace(
        c=np.vstack([segment.c, [1.0, 0.0, 0.0]]), d=np.vstack([segment.d, np.zeros(len(segment.inputs))]),
        outputs=(*segment.outputs, "edge_transmural"))
    return join(list(parts.values()), ("command", *CAUSES), ("light", "reading", *HEARD))


def _wider(twin: Linear, columns: Samples, *names: str) -> Linear:
    """A twin with more inputs."""
    return twin._replace(b=np.hstack([twin.b, columns]), d=np.hstack([twin.d, np.zeros((len(twin.c), len(names)))]),
                         inputs=(*twin.inputs, *names))
