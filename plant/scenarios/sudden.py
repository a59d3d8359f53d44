"""What happens within seconds, once: its whole course on the ticks after an onset.

Scenarios play it at a share of their run; a study of failures plays it at its own onset, to see that nothing trips.
Sizes are invented unless said otherwise.
"""
from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plant.declare import quantity, switch
from plant.pressure.hand import QUICK_m_s, smooth, straight, way_s
from plant.units import hydrostatic_mmHg

Samples = NDArray[np.float64]
LEAST_mmHg = 25.0  # arterial pressure that is always left
SPARED_mmHg = 55.0  # mean pressure that a raised hand keeps
HAND_m = 0.4
HAND_s = way_s(HAND_m, QUICK_m_s)


class Sudden(NamedTuple):
    """One of COURSES, at a time."""

    course: Annotated[str, switch("which of the sudden courses", "scenario")]
    start: Annotated[float, quantity("1", 0, 1, "when it begins, as a share of the run", "scenario")] = 0.25
    severity: Annotated[float, quantity("1", 0, 1, "share of its whole size", "scenario")] = 1.0


class Perfused(NamedTuple):
    """Arterial pressure [mmHg] and tone of a finger, tick by tick; each of shape (ticks,)."""

    arterial_mmHg: Samples
    tone: Samples


Course = Callable[[Perfused, Samples, float], Perfused]  # (finger, time since the onset [s], severity)


def smoothly(time_s: Samples, start_s: float, ramp_s: float) -> Samples:
    """From 0 to 1 without corners."""
    return smooth(straight(time_s, start_s, ramp_s))


def _scaled(finger: Perfused, factor: Samples, added_mmHg: Samples) -> Perfused:
    """Pressure times a factor plus something; at least what is always left."""
    return finger._replace(arterial_mmHg=np.maximum(finger.arterial_mmHg * factor + added_mmHg, LEAST_mmHg))


def hypotension(finger: Perfused, time_s: Samples, severity: float) -> Perfused:
    """Pressure falls by a third within ten seconds and stays there."""
    return _scaled(finger, 1.0 - 0.33 * severity * smoothly(time_s, 0.0, 10.0), np.zeros(len(time_s)))


def hypertension(finger: Perfused, time_s: Samples, severity: float) -> Perfused:
    """Pressure rises by a quarter within ten seconds and stays there."""
    return _scaled(finger, 1.0 + 0.25 * severity * smoothly(time_s, 0.0, 10.0), np.zeros(len(time_s)))


def hand_raised(finger: Perfused, time_s: Samples, severity: float) -> Perfused:
    """The hand goes up by 40 cm at 10 cm/s (ρ g h), or less where little pressure is left, and stays."""
    spare = max(float(np.mean(finger.arterial_mmHg)) - SPARED_mmHg, 0.0)
    fall = min(hydrostatic_mmHg(HAND_m * severity), spare)
    return _scaled(finger, np.ones(len(time_s)), -fall * smoothly(time_s, 0.0, HAND_s))


def hand_lowered(finger: Perfused, time_s: Samples, severity: float) -> Perfused:
    """The hand goes down by 40 cm at 10 cm/s (ρ g h) and stays."""
    rise = hydrostatic_mmHg(HAND_m * severity)
    return _scaled(finger, np.ones(len(time_s)), rise * smoothly(time_s, 0.0, HAND_s))


def cold_finger(finger: Perfused, time_s: Samples, severity: float) -> Perfused:
    """Cold: tone rises within half a minute."""
    return finger._replace(tone=finger.tone + 0.4 * severity * smoothly(time_s, 0.0, 30.0))


def valsalva(finger: Perfused, time_s: Samples, severity: float) -> Perfused:
    """40 mmHg of strain for 15 s: up, down, partly up again, a dip at release, overshoot (Denq, O'Brien & Low 1998)."""
    times = np.array([0.0, 1.0, 3.0, 9.0, 14.5, 15.0, 16.0, 18.0, 22.0, 35.0])
    change = np.array([0.0, 30.0, 28.0, -12.0, -4.0, -4.0, -25.0, -18.0, 25.0, 0.0]) * severity
    pulse = np.array([1.0, 1.0, 0.9, 0.6, 0.65, 0.65, 0.65, 0.8, 1.15, 1.0])
    mean = float(np.mean(finger.arterial_mmHg))
    share = mean / 95.0
    factor = 1.0 + severity * (np.interp(time_s, times, pulse) - 1.0)
    return _scaled(finger, factor, mean * (1.0 - factor) + share * np.interp(time_s, times, change))


def cough(finger: Perfused, time_s: Samples, severity: float) -> Perfused:
    """Three coughs: pressure of the chest reaches the finger, up by 60 mmHg within a tenth of a second each time."""
    added = np.zeros(len(time_s))
    for start in (0.5, 1.4, 2.3):
        u = np.clip((time_s - start) / 0.4, 0.0, 1.0)
        added += 60.0 * severity * np.sin(np.pi * u) ** 2
    return _scaled(finger, np.ones(len(time_s)), added)


def arrhythmia(finger: Perfused, time_s: Samples, severity: float) -> Perfused:
    """Every third beat or so comes early and weak, with a pause behind it: stretches of time run faster and slower."""
    modulation = 0.12 * severity * (np.sin(2.0 * np.pi * 0.31 * time_s) + np.sin(2.0 * np.pi * 0.53 * time_s + 1.0))
    modulation -= 0.12 * severity * np.sin(1.0)
    clock = np.clip(time_s + np.where(time_s > 0.0, modulation, 0.0), time_s[0], time_s[-1])
    pressure = np.interp(clock, time_s, finger.arterial_mmHg)
    mean = float(np.mean(pressure))
    factor = 1.0 + 0.25 * severity * np.where(time_s > 0.0, np.sin(2.0 * np.pi * 0.43 * time_s), 0.0)
    return finger._replace(arterial_mmHg=mean + factor * (pressure - mean))


COURSES: dict[str, Course] = {
    course.__name__: course
    for course in (hypotension, hypertension, arrhythmia, hand_raised, hand_lowered, cold_finger, valsalva, cough)
}
OF_THE_HAND = ("hand_raised", "hand_lowered", "cold_finger")  # the heart does not know of it
HEIGHTS_m = {"hand_raised": HAND_m, "hand_lowered": -HAND_m}
