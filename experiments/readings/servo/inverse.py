"""What a servo's own response does to a pulse, taken back by the loop's linear model.

    arterial(f) = G(f) reading(f)      G = B T*/(|T|² + λ),  |G| ≤ MOST
T is the loop's response from arterial pressure to the reading, B the band of `band.py`, λ the power of the noise by
that of the pulse at a frequency (Wiener 1949, textbook), MOST the gain beyond which the model is no longer trusted.
Each unbroken piece of a reading is treated by itself, so that nothing comes across a gap. Without a known loop G is B.
"""
from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.readings.arm.transfer import filtered, impulse_taps
from experiments.readings.servo.band import band

Samples = NDArray[np.float64]
Complex = NDArray[np.complex128]

MOST = 4.0
PULSE_mmHg, FALL_Hz = 20.0, 3.8  # rms of a harmonic, PULSE exp(−f/FALL): about that of the people that are fitted on
BEAT_Hz = 1.25  # spacing of harmonics


class ServoKnown(NamedTuple):
    """What is known of the servo that wrote a reading."""

    response: Callable[[Samples], Complex]  # T, of frequencies [Hz]
    noise_mmHg: float  # rms of the reading without a pulse
    width_Hz: float  # which that noise is spread over, from 0 on


def noise_share(servo: ServoKnown, frequency_Hz: Samples) -> Samples:
    """λ: power of the noise by that of the pulse, shape of `frequency_Hz`."""
    noise = servo.noise_mmHg**2 * BEAT_Hz / servo.width_Hz
    return np.asarray(noise / (PULSE_mmHg * np.exp(-frequency_Hz / FALL_Hz)) ** 2)


def inverse(servo: ServoKnown, frequency_Hz: Samples) -> Complex:
    """G without the band; 1 at 0 Hz, where the level goes by itself."""
    gain = servo.response(frequency_Hz)
    found = np.conj(gain) / (np.abs(gain) ** 2 + noise_share(servo, frequency_Hz))
    size = np.abs(found)
    bounded = found * np.minimum(1.0, MOST / np.maximum(size, MOST))
    return np.asarray(np.where(frequency_Hz > 0.0, bounded, 1.0))


def left(servo: ServoKnown, frequency_Hz: Samples) -> Complex:
    """What of the servo's response is left once it is taken back; 1: all of it is."""
    return np.asarray(servo.response(frequency_Hz) * inverse(servo, frequency_Hz))


def undone(pressure_mmHg: Samples, period_s: float, servo: ServoKnown | None) -> Samples:
    """A reading with the servo's response taken back, within the band; nan where and only where the reading is."""

    def gain(frequency_Hz: Samples) -> Complex:
        whole = 1.0 if servo is None else inverse(servo, frequency_Hz)
        return np.asarray(band(frequency_Hz) * whole, complex)

    kernel, found = impulse_taps(gain, period_s), np.array(pressure_mmHg, float)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], np.isfinite(found).astype(np.int8), [0]])))
    for first, end in edges.reshape(-1, 2).tolist():
        found[first:end] = filtered(kernel, found[first:end])
    return found
