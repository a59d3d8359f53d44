"""The shape of one synthetic arterial pulse, from foot (0) over peak (1) to the next foot (0).

A flow pulse u(1 − u)^1.5 of ejection time t_e drives a three-element windkessel, Z = Z_c + R/(1 + jωRC) (Westerhof,
Lankhaar & Westerhof 2009), and a delayed, smoothed copy is added for the wave reflected from the periphery, which
makes the dicrotic wave. A Gaussian low-pass leaves little above 20 Hz. Times scale with the square root of the beat
interval, as ejection time roughly does (from memory). The numbers are invented to look like a peripheral pulse.
"""
from __future__ import annotations

import numpy as np

from plant.pressure.resample import Samples

POINTS = 1024  # on one beat
EJECTION_s = 0.30  # at an interval of 1 s, like the other times
RUN_OFF_s = 1.3  # R·C
CHARACTERISTIC = 0.2  # Z_c / R
REFLECTED = 0.2  # amplitude of the reflected wave
REFLECTION_s = 0.30  # its delay
REFLECTION_SPREAD_s = 0.02  # its smoothing, not scaled
SMOOTHING_s = 0.012  # standard deviation of the low-pass, not scaled: −10 dB at 20 Hz


def pulse_shapes(interval_s: Samples) -> Samples:
    """Shapes of beats of given intervals [s], shape (beats, POINTS): evenly spaced over a beat, foot at column 0.

    Each row has minimum 0 with zero slope at column 0 and maximum 1, so that beats join smoothly.
    """
    scale = np.sqrt(interval_s)[:, None]
    time = np.arange(POINTS)[None, :] / POINTS * interval_s[:, None]
    u = np.clip(time / (EJECTION_s * scale), 0.0, 1.0)
    omega = 2.0 * np.pi * np.arange(POINTS // 2 + 1)[None, :] / interval_s[:, None]
    windkessel = CHARACTERISTIC + 1.0 / (1.0 + 1j * omega * RUN_OFF_s * scale)
    reflected = REFLECTED * np.exp(-1j * omega * REFLECTION_s * scale - 0.5 * (omega * REFLECTION_SPREAD_s) ** 2)
    low_pass = np.exp(-0.5 * (omega * SMOOTHING_s) ** 2)
    spectrum = np.fft.rfft(u * (1.0 - u) ** 1.5, axis=1) * windkessel * (1.0 + reflected) * low_pass
    foot, _ = _vertex(-np.fft.irfft(spectrum, POINTS, axis=1))
    aligned = np.fft.irfft(spectrum * np.exp(1j * omega * foot[:, None] * interval_s[:, None] / POINTS), POINTS, axis=1)
    aligned = aligned - aligned[:, :1]
    _, peak = _vertex(aligned)
    return np.asarray(aligned / peak[:, None])


def _vertex(rows: Samples) -> tuple[Samples, Samples]:
    """Place (in columns) and height of each row's maximum, by the parabola through it and its periodic neighbours."""
    index = np.argmax(rows, axis=1)
    line = np.arange(len(rows))
    before, top, after = (rows[line, (index + shift) % rows.shape[1]] for shift in (-1, 0, 1))
    offset = 0.5 * (before - after) / (before - 2.0 * top + after)
    return index + offset, np.asarray(top - 0.25 * (before - after) * offset)


def read_shapes(shapes: Samples, row: np.ndarray[tuple[int], np.dtype[np.int64]], phase: Samples) -> Samples:
    """Shape `row` at `phase` (0 … 1 of its beat), by periodic four-point cubic interpolation; shape of `phase`."""
    place = phase * POINTS
    whole = np.floor(place).astype(np.int64)
    f = place - whole
    a, b, c, d = (shapes[row, (whole + shift) % POINTS] for shift in (-1, 0, 1, 2))
    return np.asarray(
        -a * f * (f - 1.0) * (f - 2.0) / 6.0 + b * (f + 1.0) * (f - 1.0) * (f - 2.0) / 2.0
        - c * (f + 1.0) * f * (f - 2.0) / 2.0 + d * (f + 1.0) * f * (f - 1.0) / 6.0
    )
