"""A hand that goes up during a clamp: the coupled simulation, and what a height sensor makes of its reading.

The sensor is zeroed at heart level; then the hand goes up by 10 cm and back, then by 40 cm in 10 s and back. What is
left after correction is the sensor's own error, and a little of the clamp's: veins fill again under the lower cuff
pressure, while the set point of light stays.
"""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibrate.height import (
    USUAL_ZEROING,
    HeightSensor,
    NotZeroed,
    Zero,
    Zeroing,
    corrected_pressure,
    sensed_height,
    zero_sensor,
)
from controller.tick.firmware import CLAMP
from experiments.rigs.rig import Rig
from experiments.simulation.simulate import Plan, simulate
from plant.bounds import check_bounds
from plant.errors import InputError
from plant.finger.artery import unloaded_pressure
from plant.pressure.beats import beat_values, detect_beats
from plant.pressure.events import HandRaised, apply
from plant.pressure.synthetic import SyntheticPressure, synthesise

Samples = NDArray[np.float64]

ZEROED_s = 12.0  # the last tick that zeroing looks at, once the clamp has settled
STORY = (HandRaised(0.1, 15.0, 0.04, 15.0), HandRaised(0.4, 45.0, 0.04, 20.0))  # 10 cm; then 40 cm in 10 s (published)
STORY_s = 100.0


class HeightStudy(NamedTuple):
    """What came out, on ticks and per beat. Pressures at the heart are what an ideal clamp there would read."""

    period_s: float
    height_m: Samples  # (ticks,) true, of the cuff above the heart
    sensed_m: Samples  # (ticks,) as the sensor says, minus its zero
    zero: Zero
    beat_s: Samples  # (beats,) middle of each beat
    heart_mmHg: Samples  # (beats,) mean of an ideal clamp at heart level
    reading_mmHg: Samples  # (beats,) mean cuff pressure, uncorrected
    corrected_mmHg: Samples  # (beats,)


def study_height(
    rig: Rig, sensor: HeightSensor, pressure: SyntheticPressure, seed: int = 1, zeroing: Zeroing = USUAL_ZEROING,
    story: tuple[HandRaised, ...] = STORY, seconds: float = STORY_s,
) -> HeightStudy | NotZeroed:
    """Clamp, zero the sensor, move the hand. Raises InputError for what is out of bounds or a clamp that fails."""
    period = rig.timing.period_s
    heart = synthesise(pressure, period, seconds, seed)
    finger, height = heart, np.zeros(len(heart.pressure_mmHg))
    for move in story:
        check_bounds(move)
        finger = apply(finger, move)
        height += _path(move, period, len(height))
    run = simulate(rig, finger, Plan(), seed)
    if run.status != "done":
        raise InputError(f"rig {rig.name}: {run.message}")
    ticks = len(run.channels["cuff_mmHg"])
    sensed = sensed_height(sensor, height[:ticks], period, seed)
    zero = zero_sensor(sensed[: round(ZEROED_s / period)], period, zeroing)
    if isinstance(zero, NotZeroed):
        return zero
    reading = run.channels["cuff_mmHg"]
    corrected = corrected_pressure(reading, sensed, zero)
    p0 = np.asarray(unloaded_pressure(rig.plant.artery, run.tone[:ticks]))  # type: ignore[arg-type]
    ideal = np.asarray(heart.pressure_mmHg[:ticks] - p0)
    first = int(np.argmax(run.channels["mode"] == CLAMP)) + round(run.plan.settle_s / period)
    onsets = detect_beats(heart.pressure_mmHg[:ticks], period)
    onsets = onsets[onsets >= first]

    def mean(samples: Samples) -> Samples:
        return np.asarray(beat_values(samples, onsets, period).mean_mmHg)

    middle = np.asarray(0.5 * (onsets[1:] + onsets[:-1]) * period)
    return HeightStudy(period, height[:ticks], np.asarray(sensed - zero.height_m), zero, middle, mean(ideal),
                       mean(reading), mean(corrected))


def _path(move: HandRaised, period_s: float, count: int) -> Samples:
    """The height that `HandRaised` stands for, tick by tick [m]."""
    time = np.arange(count) * period_s
    ramp = max(abs(move.height_m) / move.speed_m_s, period_s)
    up = np.clip((time - move.start_s) / ramp, 0.0, 1.0)
    if move.hold_s > 0.0:
        up = up - np.clip((time - move.start_s - ramp - move.hold_s) / ramp, 0.0, 1.0)
    return np.asarray(move.height_m * up)
