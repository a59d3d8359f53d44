"""Finger to upper arm by one tube with a load at its end, as textbooks have it; no filter, no law.

    arm/finger = cosh γl + (Z_c/Z_T) sinh γl     Z_T = Z_s + (R − Z_s)/(1 + jωRC)
γ and Z_c are those of a lossy line (`plant/circulation/line.py`) as stiff as is usual at the wearer's age and mean
pressure; R is the hand's share of the usual resistance. Length and radius are those of the forearm's arteries to the
palm, which run side by side, and MISMATCH is how much higher the series impedance at their end is; the three numbers
were chosen so that the tube comes closest to the network's own ratio for ten usual people from 22 to 78 years, 1–10 Hz.
"""
from __future__ import annotations

import math

import numpy as np

from experiments.readings.arm.transfer import Complex, Samples, filtered, impulse_taps
from experiments.readings.people.wearer import Wearer
from experiments.readings.servo.band import NOTHING_Hz, band
from plant.circulation.beds import END_SHARES, HAND_ENDS, OUTFLOW_mmHg
from plant.circulation.line import DENSITY_kg_m3, series_impedance, speed_m_s, stiffness_Pa, wall_kg_s
from plant.circulation.person import (
    ARM_BED_TIME_s,
    Person,
    Physiology,
    at_pressure,
    scale_of,
    usual_physiology,
)
from plant.units import PASCAL_PER_MMHG

LENGTH_m, RADIUS_m, MISMATCH = 0.315, 2.01e-3, 1.54
LOWEST_mmHg, HIGHEST_mmHg = 45.0, 180.0  # mean pressure that a usual person is made for


def usual_state(wearer: Wearer, mean_mmHg: float) -> tuple[Person, Physiology]:
    """Somebody usual of that age, sex and size at a mean pressure."""
    person = Person(wearer.age_years, wearer.female, wearer.height_cm, wearer.weight_kg)
    return person, at_pressure(person, usual_physiology(person), min(max(mean_mmHg, LOWEST_mmHg), HIGHEST_mmHg))


def tube_ratio(wearer: Wearer, mean_mmHg: float, frequency_Hz: Samples) -> Complex:
    """Arm over finger at frequencies, shape of them; at 0 Hz what Poiseuille's resistance makes of the flow."""
    person, state = usual_state(wearer, mean_mmHg)
    scale = scale_of(person, state)
    radius = np.array([RADIUS_m * scale.radius])
    stiffness, area = stiffness_Pa(radius, scale.large_Pa), math.pi * float(radius[0]) ** 2
    moving = frequency_Hz > 0.0
    omega = 2.0 * np.pi * np.where(moving, frequency_Hz, 1.0)
    series = series_impedance(radius, np.asarray(frequency_Hz, float))[0]
    shunt = 1j * omega / (2.0 / 3.0 * float(stiffness[0]) / area
                          + 1j * omega * float(wall_kg_s(radius)[0]) / area**1.5)
    length = LENGTH_m * scale.length
    gamma, own = np.sqrt(series * shunt) * length, np.sqrt(series / shunt)
    share = sum(END_SHARES[end] for end in HAND_ENDS)
    resistance = state.resistance_mmHg_s_mL / share * 1e6 * PASCAL_PER_MMHG
    at_end = MISMATCH * DENSITY_kg_m3 * float(speed_m_s(stiffness)[0]) / area
    load = at_end + (resistance - at_end) / (1.0 + 1j * omega * ARM_BED_TIME_s)
    still = 1.0 + series * length / resistance
    return np.asarray(np.where(moving, np.cosh(gamma) + own / load * np.sinh(gamma), still))


def tube_to_arm(wearer: Wearer, finger_mmHg: Samples, period_s: float) -> Samples:
    """Upper-arm pressure of a finger pressure, shape of it; the mean goes by the flow through the tube."""
    middle = float(np.mean(finger_mmHg))
    still = float(np.real(tube_ratio(wearer, middle, np.zeros(1))[0]))

    def response(frequency_Hz: Samples) -> Complex:
        ratio = tube_ratio(wearer, middle, np.minimum(frequency_Hz, NOTHING_Hz)) / still
        return np.asarray(ratio * band(frequency_Hz))

    kernel = still * impulse_taps(response, period_s)
    return filtered(kernel, finger_mmHg) + (still - 1.0) * max(middle - OUTFLOW_mmHg, 0.0)


def tube_beat(wearer: Wearer, finger_mmHg: Samples, interval_s: float) -> Samples:
    """The same of one beat that is repeated for ever: exact by its harmonics."""
    spectrum, middle = np.fft.rfft(finger_mmHg), float(np.mean(finger_mmHg))
    frequency = np.asarray(np.arange(len(spectrum)) / interval_s, float)
    ratio = tube_ratio(wearer, middle, np.minimum(frequency, NOTHING_Hz)) * band(frequency)
    still = float(np.real(ratio[0])) - 1.0
    ratio[0] = 1.0
    return np.asarray(np.fft.irfft(spectrum * ratio, len(finger_mmHg)) + still * max(middle - OUTFLOW_mmHg, 0.0))
