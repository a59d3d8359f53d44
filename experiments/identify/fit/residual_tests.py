"""Whether what a fit leaves over is noise: its size, its whiteness, what it has in common with the command.

Size: sum of squares against the noise that was measured at rest, never against the residual itself. Whiteness: Ljung &
Box (1978). Command: the largest of its cross-correlations with the residual, at lags of either sign (Ljung, System
Identification, 1999).
"""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]
LAGS = 50
NOISE_DOUBT = 0.05  # relative, of the noise's variance: it comes from some hundred samples


class Leftover(NamedTuple):
    """What is left over of one channel of one recording."""

    recording: str
    channel: str
    samples: int
    ratio: float  # mean square over the noise's variance: 1 is noise
    white_p: float  # of Ljung and Box: small is not white
    command_p: float  # small: it has something of the command in it
    rms: float  # in the channel's unit
    slow: float  # share of its power below a hundredth of the sampling rate
    holdout: bool

    @property
    def is_noise(self) -> bool:
        """Whether nothing but noise is left, at 1 in 1e5, or what is left beyond it is too small to matter."""
        large = self.ratio > 1.0 + NOISE_DOUBT + 5.0 * np.sqrt(2.0 / self.samples)
        marked = min(self.white_p, self.command_p) < 1e-5
        return not large and not (marked and self.ratio > 1.0 + 0.4 * NOISE_DOUBT)


def leftover(
    scaled: Samples, command: Samples, recording: str, channel: str, noise: float, holdout: bool = False
) -> Leftover:
    """Tests of scaled residuals (n,) beside the command (n,) that was played."""
    count = len(scaled)
    spectrum = np.abs(np.fft.rfft(scaled - np.mean(scaled))) ** 2
    slow = float(np.sum(spectrum[: max(count // 100, 2)]) / max(float(np.sum(spectrum)), 1e-300))
    ratio = float(np.mean(scaled * scaled))
    return Leftover(recording, channel, count, ratio, ljung_box(scaled), cross_correlation_p(scaled, command),
                    noise * float(np.sqrt(ratio)), slow, holdout)


def autocorrelation(values: Samples, lags: int = LAGS) -> Samples:
    """Autocorrelation at lags 1 … `lags`."""
    centred = values - np.mean(values)
    size = 2 ** int(np.ceil(np.log2(2 * len(values))))
    power = np.abs(np.fft.rfft(centred, size)) ** 2
    found = np.fft.irfft(power, size)[: lags + 1]
    return np.asarray(found[1:] / found[0], float) if found[0] > 0.0 else np.zeros(lags)


def ljung_box(values: Samples, lags: int = LAGS) -> float:
    """Probability of so much autocorrelation in white noise."""
    from scipy.special import chdtrc

    count = len(values)
    lags = min(lags, count // 4)
    r = autocorrelation(values, lags)
    statistic = count * (count + 2) * float(np.sum(r * r / (count - np.arange(1, lags + 1))))
    return float(chdtrc(lags, statistic))


def cross_correlation_p(values: Samples, command: Samples, lags: int = LAGS) -> float:
    """Probability of the largest cross-correlation with the command's changes, were the values white noise."""
    from scipy.special import ndtr

    count = len(values)
    changes = np.diff(command, prepend=command[0])
    if np.ptp(changes) == 0.0 or np.ptp(values) == 0.0:
        return 1.0
    size = 2 ** int(np.ceil(np.log2(2 * count)))
    product = np.fft.rfft(values - np.mean(values), size) * np.conj(np.fft.rfft(changes, size))
    found = np.fft.irfft(product, size)
    near = np.concatenate([found[: lags + 1], found[-lags:]])
    scale = float(np.std(values) * np.sqrt(np.sum(changes * changes)))
    largest = float(np.max(np.abs(near))) / scale
    return float(min(1.0, len(near) * 2.0 * ndtr(-largest)))
