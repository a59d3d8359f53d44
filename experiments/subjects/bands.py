"""What of a pressure trace a linear loop has to follow: how strong it is at which frequency."""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from plant.pressure.record import PressureTrace
from plant.pressure.synthetic import SyntheticPressure, synthesise

Reals = NDArray[np.float64]

LOWEST_Hz, HIGHEST_Hz = 0.5, 40.0  # slower than any pulse; beyond, a pulse has nothing that matters
BANDS = 48


class Bands(NamedTuple):
    """Rms of a trace in narrow bands, each at its own centre of power."""

    omega: Reals  # (n,) rad/s
    rms_mmHg: Reals  # (n,)


def pressure_bands(trace: PressureTrace) -> Bands:
    """Rms of a trace by frequency, 0.5 to 40 Hz; bridged samples are taken as they stand.

    From one Hann-windowed periodogram (Harris 1978), summed in bands of equal ratio: a sum over the bands is a sum over
    the trace's own spectrum, and each band acts at the mean frequency of its power.
    """
    wave = trace.pressure_mmHg - np.mean(trace.pressure_mmHg)
    window = np.hanning(len(wave))
    power = 2.0 * np.abs(np.fft.rfft(wave * window)) ** 2 / (len(wave) * np.sum(window**2))
    frequency = np.fft.rfftfreq(len(wave), trace.period_s)
    edges = np.geomspace(LOWEST_Hz, HIGHEST_Hz, BANDS + 1)
    band = np.searchsorted(edges, frequency, side="right") - 1
    inside = (band >= 0) & (band < BANDS)
    total = np.bincount(band[inside], power[inside], BANDS)
    moment = np.bincount(band[inside], power[inside] * frequency[inside], BANDS)
    full = total > 0.0
    return Bands(2.0 * np.pi * moment[full] / total[full], np.sqrt(total[full]))


def usual_bands(period_s: float, pressure: SyntheticPressure | None = None) -> Bands:
    """The same of twenty seconds of synthetic pressure, by default the usual one."""
    return pressure_bands(synthesise(pressure or SyntheticPressure(), period_s, 20.0, 1))
