"""Hydrostatic offset between cuff and heart, and its correction from a height sensor.

    p_heart = p_cuff + ρ g (h − h₀),   h sensed height of the cuff, h₀ what the sensor says at heart level
A hand above the heart reads low, so the correction adds when the hand goes up. Textbook hydrostatics.
"""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plant.bounds import check_bounds
from plant.declare import compiled, quantity
from plant.errors import InputError
from plant.units import BLOOD_DENSITY_kg_m3, hydrostatic_mmHg

Samples = NDArray[np.float64]

STILL_s = 0.5  # of readings averaged to see whether the hand moved, so that noise does not count as motion


class HeightSensor(NamedTuple):
    """A sensor of the cuff's height above the heart, with its own faults: dh/dt = (g h_true + b + d t − h)/τ, noise."""

    offset_m: Annotated[float, quantity("m", -0.5, 0.5, "reading at heart level, before zeroing", "invented")] = 0.03
    gain: Annotated[float, quantity("1", 0.8, 1.2, "reading per true height", "invented")] = 1.01
    noise_m: Annotated[float, quantity("m", 0, 0.1, "SD of white noise in a sample", "invented")] = 0.002
    lag_s: Annotated[float, quantity("s", 0, 10, "first-order time constant", "invented")] = 0.2
    drift_m_h: Annotated[float, quantity("m/h", -0.2, 0.2, "drift of the offset", "invented")] = 0.005


class Zeroing(NamedTuple):
    """How the sensor is zeroed: hold the cuff at heart level, keep still, let the readings be averaged."""

    average_s: Annotated[float, quantity("s", 0.5, 60, "time averaged", "invented")] = 5.0
    most_motion_m: Annotated[
        float, quantity("m", 0.001, 0.2, "motion in that time beyond which it is refused", "invented")
    ] = 0.02
    most_offset_m: Annotated[
        float, quantity("m", 0.01, 2, "offset beyond which the sensor is taken to be off its place", "invented")
    ] = 0.3


class HeightCorrection(NamedTuple):
    """What the firmware takes a blood column to weigh."""

    density_kg_m3: Annotated[
        float, quantity("kg/m3", 1000, 1100, "density of blood", "1050–1060 in textbooks")
    ] = BLOOD_DENSITY_kg_m3


USUAL_ZEROING, USUAL_CORRECTION = Zeroing(), HeightCorrection()


class Zero(NamedTuple):
    """An accepted zero: the reading at heart level, its standard error, and how much it moved meanwhile."""

    height_m: float
    standard_error_m: float
    motion_m: float


class NotZeroed(NamedTuple):
    """A refused zero, why ("too short", "moved", "out of place", "no reading"), and what to do about it."""

    reason: str
    message: str


class HeightErrors(NamedTuple):
    """What a height does to the reading [mmHg]: the uncorrected error, and each part of what correction leaves."""

    uncorrected_mmHg: float
    gain_mmHg: float
    density_mmHg: float
    drift_mmHg: float
    placement_mmHg: float
    lag_mmHg: float  # while moving only
    noise_mmHg: float  # SD of one sample

    @property
    def remaining_mmHg(self) -> float:
        """Largest systematic error that correction leaves with the hand at rest: magnitudes added up."""
        return abs(self.gain_mmHg) + abs(self.density_mmHg) + abs(self.drift_mmHg) + abs(self.placement_mmHg)


def column_mmHg(height_m: Samples, correction: HeightCorrection = USUAL_CORRECTION) -> Samples:
    """Pressure [mmHg] of blood columns of these heights [m], shape of `height_m`; positive for positive height."""
    return np.asarray(height_m * (hydrostatic_mmHg(1.0) * correction.density_kg_m3 / BLOOD_DENSITY_kg_m3))


def sensed_height(sensor: HeightSensor, true_height_m: Samples, period_s: float, seed: int) -> Samples:
    """What the sensor says [m] on each tick of `period_s`, shape of `true_height_m`; settled at the start.

    The same seed gives the same samples. Raises InputError for a sensor out of bounds or heights that are no numbers.
    """
    check_bounds(sensor)
    if not period_s > 0.0:
        raise InputError(f"period_s = {period_s:g} must be above 0")
    heights = np.asarray(true_height_m, float)
    if heights.ndim != 1 or len(heights) == 0 or not np.all(np.isfinite(heights)):
        raise InputError("true_height_m must be one row of finite numbers, at least one")
    wanted = sensor.gain * heights + sensor.offset_m
    wanted += sensor.drift_m_h * period_s / 3600.0 * np.arange(len(heights))
    reading: Samples = lagged(wanted, period_s, sensor.lag_s) if sensor.lag_s > 0.0 else wanted
    if sensor.noise_m > 0.0:
        reading = reading + sensor.noise_m * np.random.Generator(np.random.PCG64(seed)).standard_normal(len(heights))
    return reading


@compiled
def lagged(values: Samples, period_s: float, lag_s: float) -> Samples:
    """First-order lag of values that move along straight lines between ticks, exact; settled at the first value."""
    keep = math.exp(-period_s / lag_s)
    mean = (1.0 - keep) * lag_s / period_s
    result = np.empty_like(values)
    result[0] = values[0]
    for i in range(1, len(values)):
        result[i] = keep * result[i - 1] + (mean - keep) * values[i - 1] + (1.0 - mean) * values[i]
    return result


def zero_sensor(reading_m: Samples, period_s: float, zeroing: Zeroing = USUAL_ZEROING) -> Zero | NotZeroed:
    """The sensor's zero from readings [m] taken while the cuff is held at heart level: the last `average_s` of them.

    A hand that moved, a sensor far out of place or too few readings are refused, as a value.
    """
    check_bounds(zeroing)
    count = max(round(zeroing.average_s / period_s), 2)
    if len(reading_m) < count:
        return NotZeroed("too short", f"hold the cuff at heart level for {zeroing.average_s:g} s; there were "
                                      f"{len(reading_m) * period_s:.3g} s")
    used = np.asarray(reading_m[-count:], float)
    if not np.all(np.isfinite(used)):
        return NotZeroed("no reading", "the height sensor gives no numbers; check its connection")
    mean, motion = float(np.mean(used)), _motion(used, max(round(STILL_s / period_s), 1))
    if motion > zeroing.most_motion_m:
        return NotZeroed("moved", f"the hand moved by {100 * motion:.1f} cm while zeroing, more than "
                                  f"{100 * zeroing.most_motion_m:.1f} cm; keep it still at heart level and repeat")
    if abs(mean) > zeroing.most_offset_m:
        return NotZeroed("out of place", f"the sensor reads {100 * mean:.0f} cm at heart level, more than "
                                         f"{100 * zeroing.most_offset_m:.0f} cm; see where it is fixed and repeat")
    return Zero(mean, float(np.std(used, ddof=1)) / math.sqrt(count), motion)


def _motion(reading_m: Samples, width: int) -> float:
    """Range of the averages over stretches of `width` readings [m]."""
    stretches = len(reading_m) // width
    if stretches < 2:
        return float(np.ptp(reading_m))
    return float(np.ptp(reading_m[: stretches * width].reshape(stretches, width).mean(axis=1)))


def corrected_pressure(
    cuff_mmHg: Samples, sensed_m: Samples, zero: Zero, correction: HeightCorrection = USUAL_CORRECTION,
) -> Samples:
    """Cuff pressure [mmHg] as it would be at heart level, shape of `cuff_mmHg`: hand up, add.

    Raises InputError when pressure and height differ in shape.
    """
    if np.shape(cuff_mmHg) != np.shape(sensed_m):
        raise InputError(f"cuff_mmHg of shape {np.shape(cuff_mmHg)} and sensed_m of {np.shape(sensed_m)} must agree")
    check_bounds(correction)
    return np.asarray(cuff_mmHg + column_mmHg(np.asarray(sensed_m, float) - zero.height_m, correction))


def error_budget(
    sensor: HeightSensor, height_m: float, speed_m_s: float = 0.0, hours_h: float = 0.0, placement_m: float = 0.0,
    density_error_kg_m3: float = 5.0, correction: HeightCorrection = USUAL_CORRECTION,
) -> HeightErrors:
    """What a hand `height_m` above heart level does to the reading, without and with correction, part by part.

    `hours_h` since zeroing, `placement_m` of the cuff above heart level while it was zeroed, blood that is
    `density_error_kg_m3` lighter than believed, `speed_m_s` of the hand for the error while it moves. Corrected minus
    true, to first order.
    """
    check_bounds(sensor)
    one = float(column_mmHg(np.ones(1), correction)[0])
    return HeightErrors(
        -one * height_m, one * (sensor.gain - 1.0) * height_m,
        one * density_error_kg_m3 / correction.density_kg_m3 * height_m, one * sensor.drift_m_h * hours_h,
        -one * sensor.gain * placement_m, -one * sensor.gain * speed_m_s * sensor.lag_s, one * sensor.noise_m,
    )
