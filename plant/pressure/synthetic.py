"""Synthetic arterial pressure: beats of a smooth pulse shape, with the variations that real ones have.

First a train of beats is made (when each begins, how high it rises, where it starts), then it is drawn out on the
tick grid. Between onsets k and k+1 the pressure is  b(φ) + (s_k − b(φ))·shape(φ),  with b going from foot d_k to foot
d_{k+1} after the peak; respiration and the 0.1 Hz waves are added.
"""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

import numpy as np

from plant.bounds import check_bounds
from plant.declare import quantity
from plant.errors import InputError
from plant.pressure.pulse_shape import pulse_shapes, read_shapes
from plant.pressure.record import PressureTrace
from plant.pressure.resample import Samples

SHORTEST_BEAT_s, LONGEST_BEAT_s = 0.24, 4.0
IRREGULAR_SPREAD = 0.24  # relative SD of random intervals; 0.2–0.3 is usual in atrial fibrillation (from memory)
PREMATURE = (0.55, 0.75)  # range of an ectopic beat's interval, as a share of the regular one (invented)
ECTOPIC_PULSE = 0.8  # its pulse, on top of the lack of filling (invented)
FILLING = 0.6  # relative change of a pulse per relative change of the interval before it (invented)
RUN_OFF = 0.4  # fall of the foot, as a share of the pulse, per relative lengthening of the interval (invented)
AFTER_PEAK = 0.35  # phase of a beat by which even the shortest has peaked
BLOCK = 256  # beats drawn at once


class SyntheticPressure(NamedTuple):
    """What the synthetic arterial pressure is like."""

    systolic_mmHg: Annotated[float, quantity("mmHg", 30, 280, "peak of a regular beat", "textbook adult")] = 120.0
    diastolic_mmHg: Annotated[float, quantity("mmHg", 10, 200, "foot of a regular beat", "textbook adult")] = 75.0
    rate_per_min: Annotated[float, quantity("1/min", 30, 220, "heart rate", "30–220 in adults, from memory")] = 70.0
    respiration_per_min: Annotated[float, quantity("1/min", 4, 60, "breaths", "0.15–0.4 Hz: Task Force 1996")] = 15.0
    respiration_mmHg: Annotated[
        float, quantity("mmHg", 0, 20, "amplitude of the respiratory wave of pressure", "invented")
    ] = 2.0
    respiration_pulse: Annotated[
        float, quantity("1", 0, 0.3, "relative amplitude of the respiratory change of the pulse", "invented")
    ] = 0.03
    respiration_interval: Annotated[
        float, quantity("1", 0, 0.3, "relative amplitude of the respiratory change of the interval", "invented")
    ] = 0.03
    wave_mmHg: Annotated[float, quantity("mmHg", 0, 20, "amplitude of the 0.1 Hz waves", "2–6, from memory")] = 2.0
    wave_Hz: Annotated[float, quantity("Hz", 0.02, 0.2, "their frequency", "about 0.1 Hz: Julien 2006")] = 0.1
    interval_sd: Annotated[
        float, quantity("1", 0, 0.2, "relative SD of the interval besides respiration", "invented")
    ] = 0.015
    ectopic_share: Annotated[
        float, quantity("1", 0, 0.5, "chance that a beat comes early, with a pause after it", "none by default")
    ] = 0.0
    irregular: Annotated[
        float, quantity("1", 0, 1, "share of beats whose interval is random", "none by default")
    ] = 0.0


STEADY = SyntheticPressure(
    respiration_mmHg=0.0, respiration_pulse=0.0, respiration_interval=0.0, wave_mmHg=0.0, interval_sd=0.0
)  # every beat alike


class BeatTrain(NamedTuple):
    """Beats in order, the first one begun before time 0 and the last one ending after the trace."""

    onset_s: Samples  # (beats + 1,) true times of the feet, with the end of the last beat
    foot_mmHg: Samples  # (beats + 1,)
    peak_mmHg: Samples  # (beats,)
    ectopic: np.ndarray[tuple[int], np.dtype[np.bool_]]  # (beats,)
    respiration_phase: float  # at time 0 [rad]
    wave_phase: float  # at time 0 [rad]

    def onsets_within(self, seconds: float) -> Samples:
        """True onset times of the beats that begin within 0 … seconds."""
        return self.onset_s[(self.onset_s >= 0.0) & (self.onset_s <= seconds)]


def synthesise(params: SyntheticPressure, period_s: float, seconds: float, seed: int) -> PressureTrace:
    """A pressure trace of `seconds` on ticks of `period_s`. The same seed gives the same bits. Raises InputError."""
    return draw(params, beat_train(params, seconds, seed), period_s, seconds)


def beat_train(params: SyntheticPressure, seconds: float, seed: int) -> BeatTrain:
    """The beats of a trace of `seconds`: what `synthesise` draws out, with the true onset times."""
    _check(params, seconds)
    random = np.random.Generator(np.random.PCG64(seed))
    phases = random.uniform(0.0, 2.0 * math.pi, 2)
    regular = 60.0 / params.rate_per_min
    breath = 2.0 * math.pi * params.respiration_per_min / 60.0
    time = -regular * float(random.uniform(1.0, 2.0))
    intervals: list[float] = []
    ectopic: list[bool] = []
    onsets = [time]
    while time <= seconds:
        chance, length, noise = random.uniform(), random.uniform(), random.standard_normal()
        wild = random.gamma(IRREGULAR_SPREAD**-2, IRREGULAR_SPREAD**2)
        # `early` tells of the beat that ends this interval; after an ectopic beat comes the pause that makes up for it
        early = not (ectopic and ectopic[-1]) and chance < params.ectopic_share
        if ectopic and ectopic[-1]:
            interval = 2.0 * regular - intervals[-1]
        elif early:
            interval = regular * (PREMATURE[0] + (PREMATURE[1] - PREMATURE[0]) * length)
        elif length < params.irregular:
            interval = regular * wild
        else:
            sway = params.respiration_interval * math.sin(breath * time + phases[0])
            interval = regular * (1.0 + sway + params.interval_sd * noise)
        interval = min(max(interval, SHORTEST_BEAT_s), LONGEST_BEAT_s)
        intervals.append(interval)
        ectopic.append(early)
        time += interval
        onsets.append(time)
    return _train(params, np.array(onsets), np.array([False, *ectopic[:-1]]), phases)


def train_from_intervals(params: SyntheticPressure, interval_s: Samples) -> BeatTrain:
    """Beats at given intervals [s], the first one beginning at time 0. Raises InputError."""
    wrong = ~((interval_s >= SHORTEST_BEAT_s) & (interval_s <= LONGEST_BEAT_s))
    if np.any(wrong):
        first = int(np.argmax(wrong))
        raise InputError(
            f"interval {first} = {interval_s[first]:g} s is outside {SHORTEST_BEAT_s:g} … {LONGEST_BEAT_s:g} s"
        )
    _check(params, float(np.sum(interval_s)))
    onsets = np.concatenate([[0.0], np.cumsum(interval_s)])
    return _train(params, onsets, np.zeros(len(interval_s), bool), np.zeros(2))


def _train(
    params: SyntheticPressure, onset_s: Samples, ectopic: np.ndarray[tuple[int], np.dtype[np.bool_]], phases: Samples
) -> BeatTrain:
    """Heights of the beats: less filling lowers a pulse, a longer run-off lowers the foot that follows."""
    pulse = params.systolic_mmHg - params.diastolic_mmHg
    longer = np.diff(onset_s) * params.rate_per_min / 60.0 - 1.0
    longer = np.where(np.abs(longer) < 1e-9, 0.0, longer)
    before = np.concatenate([[0.0], longer[:-1]])
    size = np.clip(1.0 + FILLING * before, 0.4, 1.3) * np.where(ectopic, ECTOPIC_PULSE, 1.0)
    breath = 2.0 * np.pi * params.respiration_per_min / 60.0
    size = size * (1.0 + params.respiration_pulse * np.sin(breath * onset_s[:-1] + phases[0]))
    foot = params.diastolic_mmHg - pulse * np.clip(RUN_OFF * np.concatenate([[0.0], longer]), -0.2, 0.3)
    peak = params.diastolic_mmHg + pulse * size
    return BeatTrain(onset_s, foot, peak, ectopic, float(phases[0]), float(phases[1]))


def draw(params: SyntheticPressure, train: BeatTrain, period_s: float, seconds: float) -> PressureTrace:
    """A train of beats as a pressure trace of `seconds` on ticks of `period_s`. Raises InputError."""
    if not 1e-5 <= period_s <= 0.02:
        raise InputError(f"tick period_s = {period_s:g} must be from 1e-05 to 0.02 s")
    _check(params, seconds)
    time = np.arange(math.floor(seconds / period_s + 1e-6) + 1) * period_s
    beat = np.searchsorted(train.onset_s, time, side="right") - 1
    beat = np.clip(beat, 0, len(train.peak_mmHg) - 1)
    intervals = np.diff(train.onset_s)
    phase = np.clip((time - train.onset_s[beat]) / intervals[beat], 0.0, 1.0)
    shape = np.empty(len(time))
    for first in range(0, len(intervals), BLOCK):
        ticks = slice(*np.searchsorted(beat, [first, first + BLOCK]))
        shape[ticks] = read_shapes(pulse_shapes(intervals[first : first + BLOCK]), beat[ticks] - first, phase[ticks])
    u = np.clip((phase - AFTER_PEAK) / (1.0 - AFTER_PEAK), 0.0, 1.0)
    base = train.foot_mmHg[beat] + (train.foot_mmHg[beat + 1] - train.foot_mmHg[beat]) * u**3 * (10 - 15 * u + 6 * u**2)
    pressure = base + (train.peak_mmHg[beat] - base) * shape
    breath = 2.0 * np.pi * params.respiration_per_min / 60.0
    pressure += params.respiration_mmHg * np.sin(breath * time + train.respiration_phase)
    pressure += params.wave_mmHg * np.sin(2.0 * np.pi * params.wave_Hz * time + train.wave_phase)
    return PressureTrace(pressure, period_s, np.ones(len(time), bool), "synthetic", f"synthetic pressure, {params}")


def _check(params: SyntheticPressure, seconds: float) -> None:
    check_bounds(params)
    if params.systolic_mmHg < params.diastolic_mmHg + 5.0:
        raise InputError(
            f"SyntheticPressure.systolic_mmHg = {params.systolic_mmHg:g} mmHg must be at least 5 mmHg above "
            f"diastolic_mmHg = {params.diastolic_mmHg:g} mmHg"
        )
    if not 1e-3 <= seconds <= 86_400.0:
        raise InputError(f"seconds = {seconds:g} must be from 0.001 to 86400 s")
