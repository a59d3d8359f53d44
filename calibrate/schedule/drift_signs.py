"""Signs of drift that the firmware sees in the clamp without disturbing it.

Tried on three cooling and rewarming fingers (invented scenario): on the wrist rig the *loop noise* works, the residual
of the light between two and four times the crossover. Hardly any pulse is left there; it is the loop's own noise, which
grows with the loop gain, the artery's slope over the slope believed. It moves by a tenth to a fifth when the set point
is 2–4 mmHg off. The residual pulsation moves clearly only from about 10 mmHg on, the size of the pulse later still.
On the cabinet rig the loop noise scatters more, on one finger of three too much to use. The mean command was not tried.
"""
from __future__ import annotations

from typing import NamedTuple

import numpy as np

from calibrate.protocol import Found, Instrument, Samples, Seen
from calibrate.schedule.schedule import Beats

BAND = (2.0, 4.0)  # of the loop noise, in units of the probing frequency, which is the design's crossover


class Signs(NamedTuple):
    """What one stretch of clamp shows."""

    loop_noise: float  # RMS of the light's error between two and four times the crossover, as pressure [mmHg]
    residual: float  # SD of the light's error as pressure over the SD of the reading: about 1/(1 + loop gain)
    mean_mmHg: float
    pulse_mmHg: float

    def with_previous(self, before: Signs) -> Signs:
        """The mean of this stretch and the one before: a single breath does not alarm."""
        return Signs(*(0.5 * (a + b) for a, b in zip(self, before, strict=True)))


def signs_of(seen: Seen, found: Found, beats: Beats, instrument: Instrument) -> Signs:
    """Signs of one stretch of clamp at a set point."""
    error = (seen.light - found.set_point) / found.light_slope
    low, high = BAND[0] * instrument.probe_Hz, BAND[1] * instrument.probe_Hz
    return Signs(
        band_rms(error, low, high, instrument.period_s),
        float(np.std(error)) / max(float(np.std(seen.reading_mmHg)), 1e-9), beats.mean_mmHg,
        beats.systolic_mmHg - beats.diastolic_mmHg,
    )


def band_rms(signal: Samples, low_Hz: float, high_Hz: float, period_s: float) -> float:
    """RMS of a signal between two frequencies, through a Hann window (power of the window made good)."""
    window = np.hanning(len(signal))
    spectrum = np.fft.rfft((signal - np.mean(signal)) * window)
    frequency = np.fft.rfftfreq(len(signal), period_s)
    inside = (frequency >= low_Hz) & (frequency < high_Hz)
    power = 2.0 * np.sum(np.abs(spectrum[inside]) ** 2) / (len(signal) * np.sum(window**2))
    return float(np.sqrt(power))
