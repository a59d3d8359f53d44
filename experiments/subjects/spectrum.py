"""How the variance of an arterial pressure is spread over frequency: Welch's method, gathered into narrow bands."""
from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from plant.errors import InputError

Reals = NDArray[np.float64]
Complexes = NDArray[np.complex128]

SEGMENT_s = 8.192  # of one spectrum: resolves breathing and the 0.1 Hz waves, just
HIGHEST_Hz = 60.0  # nothing of a pulse lies above
BANDS = 64  # logarithmic, 12 % wide at 60 Hz: a sensitivity changes little within one


def pressure_variance(
    pressure_mmHg: Reals, period_s: float, highest_Hz: float = HIGHEST_Hz
) -> tuple[Reals, Reals]:
    """Centre frequency [Hz] and variance [mmHg²] of each band that holds any, about the mean of each segment.

    Segments are half overlapped and weighted by Hann's window (Welch 1967); a band's centre is that of its variance.
    Raises InputError for a trace shorter than one segment.
    """
    frequency, variance, _, _ = joint_variance(pressure_mmHg, None, period_s, highest_Hz)
    return frequency, variance


def joint_variance(
    first: Reals, second: Reals | None, period_s: float, highest_Hz: float = HIGHEST_Hz
) -> tuple[Reals, Reals, Reals, Complexes]:
    """The same of two signals: frequency [Hz], variance of the first, of the second, and the first's covariance with
    the second's conjugate, in the bands that hold any of the first. Without a second signal those are zero.
    """
    length = 2 * round(0.5 * SEGMENT_s / period_s)
    if len(first) < length:
        raise InputError(f"the pressure is {len(first) * period_s:.4g} s long, "
                         f"a spectrum takes {SEGMENT_s:g} s")
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(length) / length)
    starts = range(0, len(first) - length + 1, length // 2)
    scale = 2.0 / (length * float(np.sum(window**2)))

    def transform(signal: Reals) -> list[Complexes]:
        segments = [signal[i : i + length] for i in starts]
        return [np.fft.rfft((s - np.mean(s)) * window) for s in segments]

    ones = transform(first)
    twos = [np.zeros_like(one) for one in ones] if second is None else transform(second)
    power = scale * np.mean([np.abs(one) ** 2 for one in ones], axis=0)
    other = scale * np.mean([np.abs(two) ** 2 for two in twos], axis=0)
    cross = scale * np.mean([one * np.conj(two) for one, two in zip(ones, twos, strict=True)], axis=0)
    frequency = np.fft.rfftfreq(length, period_s)
    top = min(highest_Hz, 0.499 / period_s)
    edges = np.geomspace(0.5 * frequency[1], top, BANDS + 1)
    band = np.searchsorted(edges, frequency)

    def gathered(values: Reals) -> Reals:
        return np.bincount(band, values, BANDS + 2)[1 : BANDS + 1].astype(float)

    total, moment = gathered(power), gathered(power * frequency)
    held = total > 0.0
    mixed = gathered(cross.real) + 1j * gathered(cross.imag)
    return moment[held] / total[held], total[held], gathered(other)[held], mixed[held]


def rms_above(signal: Reals, period_s: float, lowest_Hz: float) -> float:
    """Rms of a signal between a lowest frequency and half the tick rate. Raises InputError as `pressure_variance`."""
    frequency, variance = pressure_variance(signal, period_s, 0.499 / period_s)
    return math.sqrt(float(np.sum(variance[frequency > lowest_Hz])))


def rms_in_bands(variance_mmHg2: Reals) -> float:
    """Rms [mmHg] of all bands together."""
    return math.sqrt(float(np.sum(variance_mmHg2)))
