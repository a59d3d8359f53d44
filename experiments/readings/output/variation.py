"""Variation of pulse pressure or stroke volume with the breath, and whether it means anything.

Peak to trough: 100 (max − min)/((max + min)/2) in each breath, mean of three (Michard and others 2000, from memory).
Noise alone gives a value there; the fit takes it out: a sinusoid of the breath's period with a straight line beneath,
by least squares, whose squared amplitude is lowered by what white noise adds to it, 4 σ²/n. A pulse varies by less than
the stroke that makes it: for stroke volume a gain puts that right (`breath_gain.py`), and what it leaves is part of the
standard error.
"""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]

BREATHS = 3
FEWEST_BEATS_BREATH = 3.6  # heart rate over breathing rate (De Backer and others 2009, from memory)
LEAST_TIDAL_mL_kg = 8.0  # Yang & Du 2014: below it variation tells less
MOST_IRREGULAR = 0.15  # share of beats that do not count, or of intervals far from their median
SLOWEST_Hz, FASTEST_Hz, STEPS = 0.1, 0.6, 101


class Ventilation(NamedTuple):
    """What is known of the breath."""

    ventilated: bool = False
    tidal_mL_kg: float = math.nan
    closed_chest: bool = True
    breaths_per_min: float = math.nan  # nan: found in the beats


class Variation(NamedTuple):
    """Variation of one quantity [%], and why it must not be used (empty: it may)."""

    peak_percent: float  # peak to trough, mean of three breaths
    fit_percent: float  # by the fit, noise taken out
    sd_percent: float  # standard error of the fit
    floor_percent: float  # what noise alone would read as peak to trough
    breaths_per_min: float
    breaths: float
    reason: str


def breath_Hz(time_s: Samples, values: Samples) -> float:
    """Frequency whose sinusoid explains most of the values."""
    trial = np.linspace(SLOWEST_Hz, FASTEST_Hz, STEPS)
    left = [float(np.sum(_left(time_s, values, f) ** 2)) for f in trial]
    best = trial[int(np.argmin(left))]
    fine = best + np.linspace(-1.0, 1.0, 21) * (trial[1] - trial[0])
    return float(fine[int(np.argmin([float(np.sum(_left(time_s, values, f) ** 2)) for f in fine]))])


def _design(time_s: Samples, frequency_Hz: float) -> Samples:
    t = time_s - np.mean(time_s)
    turn = 2.0 * np.pi * frequency_Hz * t
    return np.stack([np.ones(len(t)), t, np.cos(turn), np.sin(turn)], axis=1)


def _left(time_s: Samples, values: Samples, frequency_Hz: float) -> Samples:
    design = _design(time_s, frequency_Hz)
    return np.asarray(values - design @ np.linalg.lstsq(design, values, rcond=None)[0])


class Swing(NamedTuple):
    """A sinusoid with the breath, fitted over a straight line."""

    mean: float
    amplitude: complex  # cosine minus j times sine about the middle of the stretch
    noise: float  # SD of what is left
    beats: int

    @property
    def relative(self) -> complex:
        """Amplitude over mean."""
        return self.amplitude / self.mean

    @property
    def squared(self) -> float:
        """Squared amplitude less what white noise adds to it."""
        return abs(self.amplitude) ** 2 - 4.0 * self.noise**2 / self.beats

    @property
    def signal(self) -> float:
        """Share of the squared amplitude that noise does not explain, 0 … 1."""
        whole = max(self.squared, 0.0) + 4.0 * self.noise**2 / self.beats
        return max(self.squared, 0.0) / whole if whole > 0.0 else 0.0


def swing(time_s: Samples, values: Samples, frequency_Hz: float) -> Swing:
    """The sinusoid of a frequency in some values, by least squares."""
    design = _design(time_s, frequency_Hz)
    law = np.linalg.lstsq(design, values, rcond=None)[0]
    free = len(values) - 4
    noise = float(np.sqrt(np.sum((values - design @ law) ** 2) / free)) if free > 0 else math.nan
    return Swing(float(law[0]), complex(law[2], -law[3]), noise, len(values))


def fit_percent(time_s: Samples, values: Samples, frequency_Hz: float) -> tuple[float, float, float]:
    """Variation by the fit with noise taken out, its standard error [%], and the noise's SD as a share of the mean."""
    found = swing(time_s, values, frequency_Hz)
    squared, mean = found.squared, found.mean
    error = found.noise * math.sqrt(2.0 / found.beats)
    return 200.0 * math.sqrt(max(squared, 0.0)) / mean, 200.0 * error / mean, found.noise / mean


def peak_percent(time_s: Samples, values: Samples, frequency_Hz: float) -> float:
    """Mean of peak to trough over whole breaths; nan without one."""
    number = np.floor((time_s - time_s[0]) * frequency_Hz + 1e-9).astype(int)
    found = []
    for breath in range(int(number[-1])):
        own = values[number == breath]
        if len(own) >= 2:
            found.append(100.0 * float((np.max(own) - np.min(own)) / (0.5 * (np.max(own) + np.min(own)))))
    return float(np.mean(found[-BREATHS:])) if found else math.nan


def floor_percent(noise_share: float, beats_a_breath: float) -> float:
    """Expected peak to trough of noise: d₂(n) times its SD, d₂ the mean range of n normal values (Tippett 1925)."""
    count = max(round(beats_a_breath), 2)
    grid = np.linspace(-6.0, 6.0, 1201)
    below = 0.5 * (1.0 + np.array([math.erf(x / math.sqrt(2.0)) for x in grid]))
    d2 = float(np.trapezoid(1.0 - below**count - (1.0 - below) ** count, grid))
    return 100.0 * d2 * noise_share


def scaled(found: Variation, gain: float, sd: float) -> Variation:
    """A variation times a gain that is known to a relative SD, with which the standard error grows."""
    value, floor = gain * found.fit_percent, gain * found.floor_percent
    return found._replace(peak_percent=gain * found.peak_percent, fit_percent=value, floor_percent=floor,
                          sd_percent=math.hypot(gain * found.sd_percent, sd * value))


def variation(
    time_s: Samples, values: Samples, counts: NDArray[np.bool_], known: Ventilation, interrupted: bool = False
) -> Variation:
    """Variation over a stretch of beats: onset times, values, which of them count.

    It is worked out wherever enough beats are there, and comes with the first condition that does not hold as a reason.
    """
    good = counts & np.isfinite(values)
    time, own = time_s[good], values[good]
    if len(own) < 8 or time[-1] - time[0] < 5.0:
        return Variation(math.nan, math.nan, math.nan, math.nan, math.nan, 0.0, "too few beats")
    rate = known.breaths_per_min / 60.0 if math.isfinite(known.breaths_per_min) else breath_Hz(time, own)
    fitted, error, noise = fit_percent(time, own, rate)
    interval = float(np.median(np.diff(time)))
    breaths = float(time[-1] - time[0]) * rate
    floor = floor_percent(noise, 1.0 / (interval * rate))
    return Variation(
        peak_percent(time, own, rate), fitted, error, floor, 60.0 * rate, breaths,
        _reason(known, (breaths, 1.0 / (interval * rate)), good, time, interrupted),
    )


def _reason(
    known: Ventilation, count: tuple[float, float], good: NDArray[np.bool_], time_s: Samples, interrupted: bool
) -> str:
    """The first condition that does not hold."""
    intervals = np.diff(time_s)
    usual = float(np.median(intervals))
    irregular = float(np.mean(np.abs(intervals / usual - 1.0) > 0.2))
    breaths, beats_a_breath = count
    for wrong, reason in (
        (interrupted, "an interruption within the window"), (breaths < BREATHS, "fewer than three breaths"),
        (float(np.mean(~good)) > MOST_IRREGULAR or irregular > MOST_IRREGULAR, "irregular rhythm"),
        (not known.ventilated, "not known to be ventilated"),
        (not known.tidal_mL_kg >= LEAST_TIDAL_mL_kg, f"tidal volume not {LEAST_TIDAL_mL_kg:g} mL/kg or more"),
        (not known.closed_chest, "open chest"),
        (beats_a_breath < FEWEST_BEATS_BREATH, "too few beats a breath"),
    ):
        if wrong:
            return reason
    return ""
