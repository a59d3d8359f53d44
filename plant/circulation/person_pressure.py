"""A record of one person: flow from the heart, and the pressures in aorta, upper arm and finger that belong to it.

The network answers a unit of flow with an impulse response at each site; any train of beats is convolved with it. When
vasomotor tone or resistance change, the responses of their lowest and highest values are cross-faded (linear in both),
and the hand's resistance goes with the tone that the finger model is given.
"""
from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from plant.bounds import check_bounds
from plant.circulation.beds import OUTFLOW_mmHg
from plant.circulation.ejection import beat_flow_mL_s, ejection_s
from plant.circulation.heartbeats import Heartbeats, Rhythm, heartbeats
from plant.circulation.line import Samples
from plant.circulation.network import SITES, responses
from plant.circulation.person import Person, Physiology, at_pressure, beds_of, scale_of
from plant.circulation.state import BAND_Hz, TAPER_Hz, taper
from plant.errors import InputError
from plant.pressure.record import PressureTrace
from plant.pressure.resample import resample

WORKING_Hz = 200.0
WINDOW_s = 20.48  # of an impulse response: by then its slowest part, R·C of all arteries, has gone to under 1e-6
BLOCK = 1 << 15  # samples convolved at once
LONGEST_s = 90_000.0


class Course(NamedTuple):
    """What changes more slowly than a beat, at rising times, each of shape (points,); straight lines between them."""

    time_s: Samples
    tone: Samples  # vasomotor tone of hand and finger
    resistance: Samples  # of all beds, as a factor
    flow: Samples  # stroke volume, as a factor

    def mean_mmHg(self, state: Physiology) -> Samples:
        """Mean aortic pressure that they make."""
        return np.asarray(OUTFLOW_mmHg + (state.mean_mmHg - OUTFLOW_mmHg) * self.resistance * self.flow)


def toned(time_s: Samples, tone: Samples) -> Course:
    """A course in which the tone alone changes."""
    return Course(time_s, tone, np.ones(len(tone)), np.ones(len(tone)))


class PersonRecord(NamedTuple):
    """What belongs together, on ticks from 0 on, each of shape (n + 1,) for n ticks; and the beats behind it."""

    period_s: float
    flow_mL_s: Samples
    aortic_mmHg: Samples
    arm_mmHg: Samples
    finger_mmHg: Samples
    beats: Heartbeats
    person: Person
    state: Physiology

    def trace(self, name: str) -> PressureTrace:
        """The finger's pressure as a record."""
        who = f"{self.person.age_years:g}-year-old {'woman' if self.person.sex == 'f' else 'man'}"
        source = (f"virtual person, {who}, {self.person.height_cm:g} cm, {self.person.weight_kg:g} kg: finger pressure "
                  "of a linear arterial network (invented, geometry of peterhcharlton/pwdb, MIT)")
        return PressureTrace(self.finger_mmHg, self.period_s, np.ones(len(self.finger_mmHg), bool), name, source)


@lru_cache(maxsize=4)  # a person is often recorded again: a quarter of a second
def impulse_responses(person: Person, state: Physiology) -> Samples:
    """Pressure [mmHg] after 1 mL into the aortic root at once: root, upper arm, finger; (3, WINDOW_s · WORKING_Hz)."""
    count = round(WINDOW_s * WORKING_Hz)
    frequency = np.arange(int((BAND_Hz + TAPER_Hz) * WINDOW_s) + 1) / WINDOW_s
    scale = scale_of(person, state)
    found = responses(scale, beds_of(scale, state), frequency)
    spectrum = np.zeros((3, count // 2 + 1), complex)
    spectrum[:, : len(frequency)] = np.stack([found.root, found.arm, found.finger]) * taper(frequency)
    return np.asarray(np.fft.irfft(spectrum, count, axis=1) * WORKING_Hz)


def flow_of(beats: Heartbeats, state: Physiology, begin_s: float, samples: int) -> Samples:
    """Flow into the root [mL/s] at WORKING_Hz from `begin_s` on; each beat brings its own stroke volume exactly."""
    flow = np.zeros(samples + round(2.5 * WORKING_Hz))
    for opening, end, volume in zip(beats.opening_s[:-1], beats.opening_s[1:], beats.stroke_mL, strict=True):
        first = math.ceil((opening - begin_s) * WORKING_Hz)
        last = math.ceil((end - begin_s) * WORKING_Hz)
        if first < 0 or first >= samples:
            continue
        duration = ejection_s(60.0 / (end - opening), float(volume), state.ejection)
        time = begin_s + np.arange(first, max(last, first + 2)) / WORKING_Hz - opening
        flow[first : first + len(time)] += beat_flow_mL_s(time, duration, state.peak, float(volume))
    return flow[:samples]


def convolved(flow: Samples, response: Samples) -> Samples:
    """Pressure by flow at WORKING_Hz: causal convolution, block by block (overlap–add), shape of `flow`."""
    # the response of a band-limited network rings a little before its start: half a window of it wraps around the end
    size = 1 << math.ceil(math.log2(BLOCK + len(response)))
    ahead = round(0.25 * WORKING_Hz)
    shifted = np.roll(response, ahead)
    spectrum = np.fft.rfft(shifted, size)
    out = np.zeros(len(flow) + len(response) + BLOCK)
    for first in range(0, len(flow), BLOCK):
        part = flow[first : first + BLOCK]
        out[first : first + len(part) + len(response)] += np.fft.irfft(
            np.fft.rfft(part, size) * spectrum, size)[: len(part) + len(response)]
    return np.asarray(out[ahead : ahead + len(flow)] / WORKING_Hz)


def person_record(
    person: Person, state: Physiology, rhythm: Rhythm, period_s: float, seconds: float, seed: int,
    course: Course | None = None,
) -> PersonRecord:
    """The record of `seconds` on ticks of `period_s`, in steady state from its start on.

    `course` has the vasomotor tone of finger and hand, resistance and flow over time; without it those of `state`
    stay. Raises InputError for numbers out of bounds.
    """
    for part in (person, state):
        check_bounds(part)
    if not (1e-5 <= period_s <= 0.02 and period_s <= seconds <= LONGEST_s):
        raise InputError(f"person: {seconds:g} s on ticks of {period_s:g} s: give ticks of 1e-05 … 0.02 s, and at most "
                         f"{LONGEST_s:g} s of them")
    begin = -WINDOW_s
    beats = heartbeats(rhythm, state.rate_per_min, state.stroke_mL, begin, seconds + 1.0, seed)
    if course is not None:
        beats = beats._replace(
            stroke_mL=beats.stroke_mL * np.interp(beats.opening_s[:-1], course.time_s, course.flow))
    samples = math.ceil((seconds - begin + 0.5) * WORKING_Hz)
    flow = flow_of(beats, state, begin, samples)
    pressures = _pressures(person, state, flow, begin, course)
    ticks = math.floor(seconds / period_s + 1e-6)
    positions = np.asarray((np.arange(ticks + 1) * period_s - begin) * WORKING_Hz, float)
    spacing = period_s * WORKING_Hz
    ejected, aortic, arm, finger = (resample(values, positions, spacing) for values in (flow, *pressures))
    return PersonRecord(period_s, ejected, aortic, arm, finger + person.gradient_mmHg, beats, person, state)


def _pressures(
    person: Person, state: Physiology, flow: Samples, begin_s: float, course: Course | None
) -> list[Samples]:
    """Pressure at the three sites at WORKING_Hz."""
    if course is None:
        return [convolved(flow, r) + OUTFLOW_mmHg for r in impulse_responses(person, state)]
    time = begin_s + np.arange(len(flow)) / WORKING_Hz
    found = np.full((len(SITES), len(flow)), OUTFLOW_mmHg)
    for tone, tight in _ends(course.tone):
        for place, high in _ends(course.resistance):
            at = int(np.argmin(np.abs(course.resistance - place)))
            mean = float(course.mean_mmHg(state)[at])
            corner = at_pressure(person, state, mean)._replace(
                stroke_mL=state.stroke_mL * float(course.flow[at]), tone=tone)
            share = np.interp(time, course.time_s, tight * high)
            for k, response in enumerate(impulse_responses(person, corner)):
                found[k] += share * convolved(flow, response)
    return list(found)


def _ends(values: Samples) -> list[tuple[float, Samples]]:
    """Lowest and highest value, and the share of each in every value; one of them where all are the same."""
    low, high = float(np.min(values)), float(np.max(values))
    if high - low < 1e-9:
        return [(low, np.ones(len(values)))]
    share = (values - low) / (high - low)
    return [(low, 1.0 - share), (high, share)]
