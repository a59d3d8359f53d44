"""A rig's light path on a bench: candidates, and what each recording would have shown of them.

Of a lamp step on a phantom the height is the phantom's and nobody's number: for every candidate it is the one that fits
best, so that only filter and ambient light are told by it (variable projection, Golub & Pereyra 1973).
"""
from __future__ import annotations

import math
import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.identify.light.kernel import Finger, finger_course, phantom_course
from experiments.identify.recording.recording import Recording, resting_samples
from experiments.rigs.rig import Rig
from plant.errors import InputError

Samples = NDArray[np.float64]
TABLES = ("light", "artery", "vein", "tissue")
USUAL_LIGHT = (
    "light.bandwidth_Hz", "light.ambient", "light.transmission", "light.arterial_path_cm", "light.venous_path_cm",
    "artery.unloaded_mmHg", "artery.half_width_mmHg", "artery.collapse_ratio", "artery.fast_fraction",
    "artery.creep_time_s", "vein.squeeze_mmHg", "vein.emptying_s", "vein.filling_s",
)
BELIEVED = {  # number: standard uncertainty, as a share, where nobody has measured it; invented
    "vein.least_volume": 0.3,  # with transmission and venous path it is told in two combinations only
    "tissue.transmission": 0.02,
}
SUSPECTS = {  # number: what its absence looks like
    "light.diffuse_depth": "light that diffuses, whose path shortens with blood",
    "tissue.transmission": "a cuff that passes less of its pressure on", "vein.least_volume": "other veins when empty",
    "segment.diameter_mm": "an artery of another width",
}
LAMP, RAMP = "lamp", "ramp"
LEAST_REST_s = 8.0  # twice the wall's creep
BEFORE_s = 24.0  # that a finger has had its resting pressure before it is recorded: six times its creep
LEAST_REACH = 1.4  # of |λ|·step: the fast parts follow pressures that are slow beside them
LONGEST_STEP_s = 7e-4  # of Runge–Kutta: below the photodiode's and the tissue's stability
SMOOTH_ARTERIAL_s, SMOOTH_CUFF_s = 0.018, 0.1  # that noise of a gauge is taken out over, before it drives the finger


class LightBench(NamedTuple):
    """A rig as a bench for light sees it."""

    rig: Rig

    @property
    def centred(self) -> bool:
        """Whether the level of a course says nothing: it does, here."""
        return False

    def channels(self, recording: Recording) -> list[str]:
        """What is fitted."""
        return ["light"]

    def candidate(self, names: Sequence[str], values: Sequence[float]) -> Finger:
        """The finger with these numbers."""
        plant = self.rig.plant
        own = Finger(plant.tissue, plant.artery, plant.segment, plant.vein, plant.light, self.rig.tone.level)
        for name, value in zip(names, values, strict=True):
            table, _, key = name.partition(".")
            own = own._replace(**{table: getattr(own, table)._replace(**{key: float(value)})})
        return own

    def steps(self, one: Finger, recording: Recording, reach: float) -> int:
        """Runge–Kutta steps a sample: those that the fastest part needs."""
        fastest = max(2.0 * math.pi * one.light.bandwidth_Hz, 1.0 / one.tissue.lag_s, 3000.0)
        least = recording.period_s / LONGEST_STEP_s
        return max(math.ceil(max(recording.period_s * fastest / max(reach, LEAST_REACH), least)), 1)

    def courses(
        self, moved: Sequence[Finger], recording: Recording, substeps: int, channels: Sequence[str] = ("light",)
    ) -> dict[str, Samples]:
        """Light of each candidate, (samples, candidates)."""
        if recording.played == LAMP:
            found = [_lamp(one, recording) for one in moved]
        else:
            arterial, cuff, lost = driven_by(recording)
            with ThreadPoolExecutor(min(os.cpu_count() or 1, 8)) as pool:  # the kernel is released
                found = list(pool.map(
                    lambda one: finger_course(one, arterial, cuff, recording.period_s, substeps)[lost:], moved))
        return {"light": np.stack(found, axis=1)}


def _lamp(one: Finger, recording: Recording) -> Samples:
    shape = phantom_course(one.light, recording.command, recording.period_s)
    seen = recording.channels["light"] - one.light.ambient
    return np.asarray(one.light.ambient + shape * (float(shape @ seen) / float(shape @ shape)), float)


def driven_by(recording: Recording) -> tuple[Samples, Samples, int]:
    """Arterial and cuff pressure [mmHg] that drive a finger, with its rest and what it had before that; and how many
    samples come before the first that is fitted."""
    arterial = smoothed(recording.channels["arterial_mmHg"], SMOOTH_ARTERIAL_s / recording.period_s)
    cuff = smoothed(recording.channels["reading_mmHg"], SMOOTH_CUFF_s / recording.period_s)
    rest = len(arterial) - len(recording.command)
    times = math.ceil(BEFORE_s / (rest * recording.period_s))
    before = np.tile(arterial[:rest], times)
    return (np.concatenate([before, arterial]), np.concatenate([np.full(len(before), np.mean(cuff[:rest])), cuff]),
            len(before) + rest)


def smoothed(values: Samples, width: float) -> Samples:
    """A course without the noise of its gauge: straight mean of cubics (Savitzky & Golay 1964)."""
    from scipy.signal import savgol_filter

    window = 2 * round(width / 2.0) + 1
    return np.asarray(savgol_filter(values, window, 3) if window >= 5 else values, float)


def prepared(bench: LightBench, recordings: Sequence[Recording]) -> list[Recording]:
    """Recordings that light can be told from, a ramp's rest kept for its pressures only. Raises InputError.

    During rest the finger's slow state comes to what the pressures make of it, whatever it was before. Noise of the
    reference gauge drives the model and not the finger: it counts as noise of the light, by the finger as believed.
    """
    found = []
    for one in recordings:
        if one.played not in (LAMP, RAMP):
            raise InputError(f"{one.name}: {one.played} is not of light; put lamp and ramp into a sheet of their own")
        if "light" not in one.channels:
            raise InputError(f"{one.name}: a {one.played} needs the column light")
        if one.played == RAMP:
            for name in ("arterial_mmHg", "reading_mmHg"):
                if name not in one.channels:
                    raise InputError(f"{one.name}: a ramp needs the column {name}")
            rest = resting_samples(one.command)
            if rest * one.period_s < LEAST_REST_s:
                raise InputError(f"{one.name}: a ramp begins with {rest * one.period_s:.3g} s of rest; "
                                 f"{LEAST_REST_s:g} s or more are needed, from which the finger's state is found")
            one = one._replace(command=one.command[rest:], channels=one.channels | {
                "light": one.channels["light"][rest:]})
            one = one._replace(noise=one.noise | {"light": math.hypot(one.noise["light"], by_gauge(bench, one))})
        found.append(one)
    return found


def by_gauge(bench: LightBench, ramp: Recording) -> float:
    """What noise of the gauge of arterial pressure adds to a predicted light, rms (fraction of full scale)."""
    one = bench.candidate((), ())
    arterial, cuff, lost = driven_by(ramp)
    steps = bench.steps(one, ramp, 1.0)
    white = np.random.Generator(np.random.PCG64(1)).standard_normal(len(arterial)) * ramp.noise["arterial_mmHg"]
    noisy = arterial + smoothed(white, SMOOTH_ARTERIAL_s / ramp.period_s)
    with_it, without = (finger_course(one, course, cuff, ramp.period_s, steps)[lost:] for course in (noisy, arterial))
    return float(np.std(with_it - without))
