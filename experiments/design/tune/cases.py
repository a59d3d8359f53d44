"""Every finger as a tuning sees it: its loops at three pressures and on each side, and what disturbs them.

The search finds each finger's light slope to within a few percent; the loop gain is off by the same share. Every loop
is therefore judged at the true gain and at both ends of that range. What tone does to the slope afterwards is left out:
that is for the next search.
"""
from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.margins.corrected import Correction, corrected
from controller.margins.disturbed import Disturbance
from controller.margins.loop import Loop, build_loop, open_loop, sides
from controller.margins.many_settings import Prepared, prepare
from controller.margins.margins import OpenLoop
from controller.response import Unity, sweep
from controller.tick.law import design
from experiments.check.check import operating_pressures
from experiments.rigs.rig import Rig, clamp
from experiments.rigs.slope_error import SLOPE_ERRORS as SLOPE_ERRORS
from experiments.rigs.slope_error import usual_slope_error as usual_slope_error
from experiments.subjects.disturbed import disturbances
from experiments.subjects.finger import Finger, finger_pressure, on_finger
from plant.errors import InputError

Reals = NDArray[np.float64]

TRACE_s = 30.0  # of each finger's own pressure, for its spectrum and its operating points


class Case(NamedTuple):
    """One finger on the rig."""

    finger: Finger
    rig: Rig  # the one it is on, not yet worn: its own where a bench left something open
    loops: tuple[Prepared, ...]  # each pressure on each side of the valve
    names: tuple[str, ...]  # of the loops
    disturbances: tuple[Disturbance, ...]  # at mean pressure, on each side
    pressures_mmHg: tuple[float, ...]  # mean, low and high


class Population(NamedTuple):
    """All fingers that can be clamped, those that cannot and why, and the factors on every loop's gain."""

    cases: tuple[Case, ...]
    left_out: tuple[tuple[str, str], ...]  # (name, reason)
    gains: Reals

    @property
    def fingers(self) -> int:
        """How many were asked for."""
        return len(self.cases) + len(self.left_out)


def slope_gains(slope_error: float) -> Reals:
    """Factors on the loop gain: the light slope may be off by this share either way, or be true."""
    return np.array([1.0 - slope_error, 1.0, 1.0 + slope_error]) if slope_error > 0.0 else np.ones(1)


def population(
    rig: Rig, fingers: list[Finger], slope_error: float, progress: Callable[[float], None] | None = None,
    plants: Sequence[Rig] = (), corrections: Sequence[Correction] = (),
) -> Population:
    """The fingers' cases. One that the rig cannot clamp is left out, and told of.

    `plants` are rigs, one a finger, whose plant and dead time take the place of the rig's; empty: all on the rig's.
    `corrections` are what a measured response found beside the twin, one a finger or one for all.
    """
    cases, left_out = [], []
    for done, finger in enumerate(fingers):
        try:
            own = rig._replace(plant=plants[done].plant, timing=plants[done].timing) if plants else rig
            measured = corrections[done % len(corrections)] if corrections else None
            cases.append(finger_case(own, finger, measured))
        except InputError as error:
            left_out.append((finger.name, str(error)))
        if progress is not None:
            progress((done + 1) / len(fingers))
    return Population(tuple(cases), tuple(left_out), slope_gains(slope_error))


def finger_case(rig: Rig, finger: Finger, measured: Correction | None = None) -> Case:
    """One finger's loops and disturbances, on a measured response where there is one. Raises InputError when the rig
    cannot clamp it."""
    worn = on_finger(rig, finger)
    trace = finger_pressure(finger, rig.timing.period_s, TRACE_s)
    pressures = operating_pressures(trace)
    loops = finger_loops(worn, pressures)
    at_mean = [loop for name, loop in loops.items() if name.startswith("mean")]
    disturbed_by = disturbances(at_mean, worn, trace)
    if measured is not None:
        disturbed_by = [on_measured(one, measured, math.pi / worn.timing.period_s) for one in disturbed_by]
    return Case(finger, rig, tuple(prepare(measured_loop(loop, measured)) for loop in loops.values()), tuple(loops),
                tuple(disturbed_by), tuple(pressures.values()))


def measured_loop(loop: Loop, measured: Correction | None) -> OpenLoop:
    """A loop as the margin search takes it, its plant corrected by what was measured.

    What the twin was off by where it was measured, it is taken to be off by at every pressure and on either side.
    """
    whole = open_loop(loop)
    if measured is None:
        return whole
    return whole._replace(plant=corrected(whole.plant, measured, whole.high_rad_s))


def on_measured(one: Disturbance, measured: Correction, last_rad_s: float) -> Disturbance:
    """The same disturbance of a plant with that correction."""
    factor = sweep(corrected(Unity(), measured, last_rad_s), one.omega_rad_s)
    return one._replace(plant=one.plant * factor, cuff=one.cuff * factor)


def finger_loops(worn: Rig, pressures_mmHg: dict[str, float]) -> dict[str, Loop]:
    """Every loop of a rig on its finger by name, with the error normalised by the true light slope at mean pressure."""
    coefficients = design(worn.controller, worn.timing.period_s)
    slope = clamp(worn, pressures_mmHg["mean"], worn.tone.level).light_slope
    found = {}
    for name, pressure in pressures_mmHg.items():
        point = clamp(worn, pressure, worn.tone.level)
        for side in sides(worn.plant):
            loop = build_loop(worn.plant, point, side, worn.timing, worn.stage, coefficients, slope)
            found[f"{name}, {side}"] = loop
    return found
