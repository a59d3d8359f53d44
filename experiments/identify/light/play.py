"""What a virtual bench records of a light path: a lamp's steps on a phantom, a slow ramp on the rig's finger.

The finger has a synthetic arterial pressure with pulse, breaths and waves; a reference gauge records it. All invented.
"""
from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from experiments.identify.excite.recipe import Piece
from experiments.identify.excite.shapes import steps
from experiments.identify.light.bench import LAMP, RAMP, LightBench
from experiments.identify.light.kernel import finger_course, phantom_course
from experiments.identify.recording.recording import Recording
from experiments.identify.replay.virtual import measured
from experiments.rigs.rig import Rig
from plant.pressure.synthetic import SyntheticPressure, synthesise

Samples = NDArray[np.float64]
LAMP_Hz, RAMP_Hz = 5000.0, 500.0
REST_s, UP_s, HOLD_s, DOWN_s, AFTER_s = 15.0, 30.0, 2.0, 5.0, 8.0
TOP_mmHg, EARLIER_s = 180.0, 40.0
PHANTOM = 0.5  # of full scale, that a grey phantom passes


def light_pieces(top_mmHg: float = TOP_mmHg) -> list[Piece]:
    """Steps of the lamp, and the course of a ramp as a share of full scale of a bench pump of 400 mmHg."""
    lamp = steps([(0.0, 0.1), *([(1.0, 0.03), (0.0, 0.03)] * 12)], 1.0 / LAMP_Hz)
    corners = np.cumsum([0.0, REST_s, UP_s, HOLD_s, DOWN_s, AFTER_s])
    times = np.arange(round(corners[-1] * RAMP_Hz)) / RAMP_Hz
    ramp = np.interp(times, corners, np.array([0.0, 0.0, top_mmHg, top_mmHg, 0.0, 0.0]) / 400.0)
    return [Piece(LAMP, lamp, 1.0 / LAMP_Hz, 0, 0.0), Piece(RAMP, np.asarray(ramp, float), 1.0 / RAMP_Hz, 0, top_mmHg)]


def play_light(rig: Rig, piece: Piece, seed: int = 1) -> dict[str, Samples]:
    """Channels by name, each (samples,)."""
    random = np.random.Generator(np.random.PCG64([seed, 5]))
    light, period = rig.plant.light, piece.period_s
    if piece.played == LAMP:
        course = light.ambient + PHANTOM * phantom_course(light, piece.command, period)
        return {"light": sampled(rig, course, random)}
    cuff = 400.0 * piece.command
    earlier = round(EARLIER_s / period)
    trace = synthesise(SyntheticPressure(), period, EARLIER_s + len(cuff) * period, seed)
    arterial = trace.pressure_mmHg[: earlier + len(cuff)]
    bench = LightBench(rig)
    finger = bench.candidate((), ())
    fine = bench.steps(finger, Recording("", RAMP, period, cuff, {}, {}), 1.0) + 3
    course = finger_course(finger, arterial, np.concatenate([np.zeros(earlier), cuff]), period, fine)[earlier:]
    transducer = rig.plant.transducer
    return {"light": sampled(rig, course, random), "reading_mmHg": measured(cuff, transducer, seed + 11),
            "arterial_mmHg": measured(arterial[earlier:], transducer, seed + 12)}


def sampled(rig: Rig, course: Samples, random: np.random.Generator) -> Samples:
    """Light with the noise of a sample, in its converter's steps, clipped at full scale."""
    light = rig.plant.light
    noisy = course + light.noise * random.standard_normal(len(course))
    if light.bits:
        noisy = np.round(noisy * 2.0**light.bits) / 2.0**light.bits
    return np.asarray(np.clip(noisy, 0.0, 1.0), float)
