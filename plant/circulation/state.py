"""A steady state of the circulation: one beat, repeated for ever, and its pressures from the aorta to the finger."""
from __future__ import annotations

from typing import NamedTuple

import numpy as np

from plant.circulation.beds import OUTFLOW_mmHg
from plant.circulation.ejection import beat_flow_mL_s, ejection_s
from plant.circulation.line import Samples
from plant.circulation.network import Responses, all_responses
from plant.circulation.person import Person, Physiology, all_beds, scale_of

BAND_Hz, TAPER_Hz = 24.0, 8.0  # the network's answers are left as they are up to here, and have gone that much above
POINTS = 512  # of a beat


class SteadyState(NamedTuple):
    """One beat from the opening of the valve on, each of shape (POINTS,)."""

    time_s: Samples
    flow_mL_s: Samples
    aortic_mmHg: Samples
    arm_mmHg: Samples
    finger_mmHg: Samples
    ejection_s: float
    found: Responses  # at the harmonics of the beat


def taper(frequency_Hz: Samples) -> Samples:
    """1 up to BAND_Hz, cosine to 0 over TAPER_Hz."""
    past = np.clip((frequency_Hz - BAND_Hz) / TAPER_Hz, 0.0, 1.0)
    return np.asarray(0.5 + 0.5 * np.cos(np.pi * past))


def steady_state(person: Person, state: Physiology) -> SteadyState:
    """Flow and pressures of a person in a state. Raises InputError where there is no such circulation."""
    return steady_states(person, [state])[0]


def steady_states(person: Person, states: list[Physiology]) -> list[SteadyState]:
    """The same of several states at once, in a quarter of the time."""
    scales = [scale_of(person, state) for state in states]
    asked = []
    for scale, beds, state in zip(scales, all_beds(scales, states), states, strict=True):
        interval = 60.0 / state.rate_per_min
        frequency = np.asarray(np.arange(int((BAND_Hz + TAPER_Hz) * interval) + 1) / interval, float)
        asked.append((scale, beds, frequency))
    return [_beat(person, state, found) for state, found in zip(states, all_responses(asked), strict=True)]


def _beat(person: Person, state: Physiology, found: Responses) -> SteadyState:
    """One beat by the responses at its harmonics."""
    time = np.asarray(np.arange(POINTS) * (60.0 / state.rate_per_min / POINTS), float)
    duration = ejection_s(state.rate_per_min, state.stroke_mL, state.ejection)
    flow = beat_flow_mL_s(time, duration, state.peak, state.stroke_mL)
    harmonics, weight = np.fft.rfft(flow), taper(found.frequency_Hz)
    pressures = []
    for impedance in (found.root, found.arm, found.finger):
        spectrum = np.zeros(len(harmonics), complex)
        spectrum[: len(weight)] = impedance * weight * harmonics[: len(weight)]
        pressures.append(np.fft.irfft(spectrum, POINTS) + OUTFLOW_mmHg)
    aortic, arm, finger = pressures
    return SteadyState(time, flow, aortic, arm, finger + person.gradient_mmHg, duration, found)
