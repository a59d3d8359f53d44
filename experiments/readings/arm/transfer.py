"""Finger to upper arm by a filter that was fitted on virtual people.

    arm(f) = Σ_j x_j H_j(f) · finger(f)     x = 1, age, height, mean pressure, interval
H_j are complex at knots 1 Hz apart, straight lines between them, and roll off above what a pulse holds. The level goes
by itself: arm − finger mean = Σ c_j x_j. The filter looks ahead, as the arm's pulse comes before the finger's.
"""
from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.readings.people.wearer import Wearer, circulation
from experiments.readings.servo.band import band

Samples = NDArray[np.float64]
Complex = NDArray[np.complex128]

KNOT_Hz, KNOTS = 1.0, 25
FEATURES = ("constant", "age", "height", "mean pressure", "interval")
REACH_s = 0.6  # of the filter's impulse response, on each side


class Transfer(NamedTuple):
    """A filter for everybody."""

    gains: Complex  # (features, knots)
    level: Samples  # (features,) mmHg
    level_sd_mmHg: float  # of what the level law leaves


def features_of(wearer: Wearer, mean_mmHg: float, interval_s: float) -> Samples:
    """The row x, shape (features,)."""
    build, now = wearer.build, circulation(mean_mmHg, interval_s)
    return np.array([1.0, build[1], 10.0 * build[3], now[1], now[2]])


def response(transfer: Transfer, features: Samples, frequency_Hz: Samples) -> Complex:
    """Gain at frequencies, rolled off; shape of `frequency_Hz`. At 0 Hz it is 1: the level goes by itself."""
    knots = KNOT_Hz * np.arange(KNOTS)
    gain = features @ transfer.gains
    found = np.interp(frequency_Hz, knots, gain.real) + 1j * np.interp(frequency_Hz, knots, gain.imag)
    return np.asarray(np.where(frequency_Hz > 0.0, found, 1.0) * band(frequency_Hz))


def taps(transfer: Transfer, features: Samples, period_s: float) -> Samples:
    """Impulse response on ticks, from REACH_s before to REACH_s after; its sum is 1."""
    return impulse_taps(lambda frequency_Hz: response(transfer, features, frequency_Hz), period_s)


def impulse_taps(gain: Callable[[Samples], Complex], period_s: float) -> Samples:
    """The same of any response to frequencies that is 1 at 0 Hz."""
    half = round(REACH_s / period_s)
    size = 1 << int(np.ceil(np.log2(max(4 * half, 4.0 / period_s))))
    impulse = np.fft.irfft(gain(np.asarray(np.fft.rfftfreq(size, period_s), float)), size)
    found = np.concatenate([impulse[-half:], impulse[: half + 1]])
    edge = np.sin(0.5 * np.pi * np.clip(np.arange(1, half + 2) / (0.25 * half), 0.0, 1.0)) ** 2
    found *= np.concatenate([edge, edge[-2::-1]])
    return np.asarray(found / np.sum(found))


def to_arm(transfer: Transfer, features: Samples, finger_mmHg: Samples, period_s: float) -> Samples:
    """Upper-arm pressure of a finger pressure, shape of it; within REACH_s of its ends it leans on their values."""
    return filtered(taps(transfer, features, period_s), finger_mmHg) + float(features @ transfer.level)


def filtered(kernel: Samples, finger_mmHg: Samples) -> Samples:
    """A pressure through the taps of a filter whose middle one is now; its mean stays."""
    half = len(kernel) // 2
    middle = float(np.mean(finger_mmHg))
    padded = np.pad(finger_mmHg - middle, half, mode="edge")
    size = 1 << int(np.ceil(np.log2(len(padded) + len(kernel))))
    found = np.fft.irfft(np.fft.rfft(padded, size) * np.fft.rfft(kernel, size), size)
    return np.asarray(found[2 * half : 2 * half + len(finger_mmHg)] + middle)


def beat_to_arm(transfer: Transfer, features: Samples, finger_mmHg: Samples, interval_s: float) -> Samples:
    """The same of one beat that is repeated for ever: exact by its harmonics."""
    spectrum = np.fft.rfft(finger_mmHg)
    gain = response(transfer, features, np.arange(len(spectrum)) / interval_s)
    return np.asarray(np.fft.irfft(spectrum * gain, len(finger_mmHg)) + float(features @ transfer.level))


def fit_transfer(rows: list[tuple[Samples, Samples, Samples, float]], ridge: float = 1e-3) -> Transfer:
    """Least squares over steady beats: features, finger and arm pressure of one beat, interval [s] of each.

    `ridge` is a share of the mean weight, which keeps knots that no harmonic tells of near those of the constant.
    """
    size = len(FEATURES) * KNOTS
    normal, right = np.zeros((size, size), complex), np.zeros(size, complex)
    levels, levels_x = [], []
    for features, finger, arm, interval in rows:
        f, a = np.fft.rfft(finger), np.fft.rfft(arm)
        count = min(int((KNOTS - 1) * KNOT_Hz * interval), len(f) - 1)
        place = np.arange(1, count + 1) / interval / KNOT_Hz
        low = np.minimum(place.astype(int), KNOTS - 2)
        share = place - low
        design = np.zeros((count, KNOTS))
        design[np.arange(count), low], design[np.arange(count), low + 1] = 1.0 - share, share
        weight = np.arange(1.0, count + 1.0)[:, None] ** 0.5 / np.abs(f[1])  # upper harmonics shape the peak
        target = a[1 : count + 1] - design[:, 0] * f[1 : count + 1]  # the knot at 0 Hz is 1 for everybody
        design[:, 0] = 0.0
        line = (weight * design * f[1 : count + 1, None])[:, None, :] * features[None, :, None]
        flat = line.reshape(count, size)
        normal += flat.conj().T @ flat
        right += flat.conj().T @ (weight[:, 0] * target)
        levels.append(float(np.mean(arm) - np.mean(finger)))
        levels_x.append(features)
    scale = np.real(np.trace(normal)) / size
    gains = np.linalg.solve(normal + ridge * scale * np.eye(size), right).reshape(len(FEATURES), KNOTS)
    gains[0, 0] = 1.0
    table, values = np.array(levels_x), np.array(levels)
    law = np.linalg.lstsq(table, values, rcond=None)[0]
    return Transfer(gains, law, float(np.std(values - table @ law)))
