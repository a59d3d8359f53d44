"""Finger pressures of virtual people as harmonics: what a loop's response is tried on. Shipped, as they take a minute.

`python -m experiments.readings.fitted` makes the file anew.
"""
from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]
Complex = NDArray[np.complex128]

FILE = Path(__file__).resolve().parents[1] / "fitted" / "waves.npz"
HARMONICS, POINTS = 32, 512  # kept of each beat; samples at which a beat is looked at


class Waves(NamedTuple):
    """Steady beats of many states."""

    interval_s: Samples  # (states,)
    harmonics: Complex  # (states, HARMONICS + 1), as of np.fft.rfft over one sample
    person: NDArray[np.int64]  # (states,) whose state each is, from 0 on

    @property
    def frequency_Hz(self) -> Samples:
        """Of every harmonic of every state, (states, HARMONICS + 1)."""
        return np.asarray(np.arange(HARMONICS + 1)[None, :] / self.interval_s[:, None])

    def pressure_mmHg(self, response: Complex | None = None) -> Samples:
        """The beats, (states, POINTS), after a response given at every harmonic."""
        spectrum = np.zeros((len(self.interval_s), POINTS // 2 + 1), complex)
        spectrum[:, : HARMONICS + 1] = self.harmonics if response is None else self.harmonics * response
        return np.asarray(np.fft.irfft(spectrum * POINTS, POINTS, axis=1))

    def largest(self, sizes: Samples, share: float) -> float:
        """What so large a share of people does not exceed in any of their states; `sizes` has shape (states,)."""
        first = np.flatnonzero(np.diff(self.person, prepend=-1))
        return float(np.quantile(np.maximum.reduceat(sizes, first), share))


def waves_of(interval_s: Samples, pressure_mmHg: Samples, person: NDArray[np.int64] | None = None) -> Waves:
    """Waves of beats, shape (states, samples), of people in order (None: each state is somebody else's)."""
    spectrum = np.fft.rfft(pressure_mmHg, axis=1)[:, : HARMONICS + 1] / pressure_mmHg.shape[1]
    return Waves(np.asarray(interval_s, float), spectrum, np.arange(len(interval_s)) if person is None else person)


@lru_cache(maxsize=1)
def shipped_waves() -> Waves:
    """The hundred people, each in nine states, that come with the package."""
    with np.load(FILE) as held:
        return Waves(held["interval_s"].astype(float), held["harmonics"].astype(complex),
                     held["person"].astype(np.int64))
