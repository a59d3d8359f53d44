"""A frequency response from repeated multisines, with what is noise and what is distortion told apart.

Robust method of Pintelon & Schoukens (System Identification, 2012, chapter 4): the period repeats, so what differs from
period to period is noise; realisations have other phases, so what differs between them beyond noise is distortion.
With one realisation only noise is told. A held command is more than its samples: what holding does is divided out.
"""
from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.identify.recording.recording import Recording
from plant.errors import InputError

Samples = NDArray[np.float64]
Complex = NDArray[np.complex128]
EXCITED = 0.02  # of the strongest line: what is weaker was not played
REGION = 5.991464547107979  # chi-square, two degrees of freedom, 95 %


class Response(NamedTuple):
    """Gain from the command to a channel at the lines that were played."""

    channel: str
    frequency_Hz: Samples  # (lines,)
    gain: Complex  # in the channel's unit per full command, behind a continuous command
    noise_sd: Samples  # SD of |gain| of one part, from period to period
    total_sd: Samples  # the same with distortion, from realisation to realisation; noise alone with one of them
    coherence: Samples  # 0 … 1
    realisations: int
    periods: int
    level: float  # of the channel while it was played: where the response holds

    @property
    def radius(self) -> Samples:
        """Radius of the 95 % region of the gain."""
        return np.asarray(self.total_sd * np.sqrt(REGION / 2.0), float)


def period_samples(command: Samples, periods: int) -> int:
    """Samples of the period that the end of a command repeats. Raises InputError where it does not."""
    for count in range(len(command) // max(periods, 2), 9, -1):
        if np.array_equal(command[-count:], command[-2 * count : -count]) and np.ptp(command[-count:]) > 0.0:
            if count * periods > len(command):
                break
            if np.array_equal(command[-periods * count : -count], command[-(periods - 1) * count :]):
                return count
    raise InputError(f"a multisine of {periods} periods does not repeat at the end of its command")


def response_of(recordings: Sequence[Recording], channel: str = "reading_mmHg") -> Response:
    """Response of the multisines among some recordings. Raises InputError where there are none or too few periods."""
    played = [one for one in recordings if one.played == "multisine" and channel in one.channels]
    if not played:
        raise InputError(f"no multisine with {channel} among the recordings; see `excite --for response`")
    lines, gains, noises, coherences = None, [], [], []
    for one in played:
        found, gain, sd, own = one_realisation(one, channel)
        if lines is not None and not np.array_equal(found, lines):
            raise InputError(f"{one.name}: has other lines or another period than {played[0].name}")
        lines = found
        gains.append(gain)
        noises.append(sd)
        coherences.append(own)
    assert lines is not None
    count = len(played)
    noise = np.sqrt(np.mean(np.square(noises), axis=0) / count)
    total = noise
    if count > 1:
        total = np.maximum(np.std(gains, axis=0, ddof=1) / np.sqrt(count), noise)
    first = played[0]
    base_Hz = 1.0 / (period_samples(first.command, first.periods) * first.period_s)
    frequency = np.asarray(lines * base_Hz, float)
    coherence = np.asarray(np.mean(coherences, axis=0), float)
    level = float(np.mean([np.mean(one.channels[channel][-len(one.command) // 2 :]) for one in played]))
    mean = np.asarray(np.mean(gains, axis=0), complex)
    return Response(channel, frequency, mean, noise, total, coherence, count, first.periods - 1, level)


def one_realisation(one: Recording, channel: str) -> tuple[NDArray[np.int64], Complex, Samples, Samples]:
    """Lines, gain, SD of its noise, coherence; the first period is left out: what was before still rings in it."""
    if one.periods < 3:
        raise InputError(f"{one.name}: a multisine needs three periods or more (sheet: periods)")
    try:
        count = period_samples(one.command, one.periods)
    except InputError as error:
        raise InputError(f"{one.name}: {error}") from None
    kept = one.periods - 1
    command = np.fft.rfft(one.command[-count:]) / count
    drift = one.channels[channel][-kept * count :].reshape(kept, count)
    spectra = np.fft.rfft(without_drift(drift), axis=1) / count
    size = np.abs(command)
    lines = np.flatnonzero(size > EXCITED * np.max(size[1:]))
    lines = lines[lines > 0]
    mean = np.mean(spectra[:, lines], axis=0)
    sd = np.std(spectra[:, lines], axis=0, ddof=1) / np.sqrt(kept)
    held = hold(lines / (count * one.period_s), one.period_s)
    gain = mean / (command[lines] * held)
    noise = sd / (size[lines] * np.abs(held))
    power = np.mean(np.abs(spectra[:, lines]) ** 2, axis=0)
    coherence = np.clip(np.abs(mean) ** 2 / np.maximum(power, 1e-300), 0.0, 1.0)
    return lines, gain, noise, coherence


def without_drift(periods: Samples) -> Samples:
    """Periods (periods, samples) less a straight course through all: a slow drift is in every line otherwise."""
    flat = periods.reshape(-1)
    count = periods.shape[1]
    time = np.arange(len(flat), dtype=float)
    middles = np.mean(periods, axis=1)
    slope = float(np.polyfit(np.arange(len(middles)) * count, middles, 1)[0])
    return np.asarray((flat - slope * time).reshape(periods.shape), float)


def hold(frequency_Hz: Samples, period_s: float) -> Complex:
    """What holding each sample until the next does to a line: (1 − e^{−sT})/(sT)."""
    turn = 1j * 2.0 * np.pi * np.asarray(frequency_Hz) * period_s
    return np.asarray((1.0 - np.exp(-turn)) / turn, complex)
