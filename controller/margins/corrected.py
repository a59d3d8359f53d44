"""A plant whose response was measured: that of a model, times what the measurement found beside it.

Between the lines that were measured logarithmic gain and phase go straight over the logarithm of frequency. Below the
first the gain's share stays and the phase goes to zero in proportion to frequency; above the last the phase goes to
zero at the end of the band, where a sampled loop is real.
"""
from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.response import response

Reals = NDArray[np.float64]


class Correction(NamedTuple):
    """What a measurement found beside a model, line by line; arrays of shape (n,), frequencies rising."""

    omega_rad_s: Reals
    log_gain: Reals  # natural logarithm of the gains' ratio
    phase_rad: Reals


class Corrected(NamedTuple):
    """A part times a correction."""

    plant: Any
    omega_rad_s: Reals
    log_gain: Reals
    phase_rad: Reals
    last_rad_s: float  # end of the band: π/T of a sampled loop


def corrected(plant: Any, correction: Correction, last_rad_s: float) -> Corrected:
    """A part with a correction. Lines at or beyond the end of the band are left out."""
    keep = correction.omega_rad_s < last_rad_s
    omega, size, turn = (np.ascontiguousarray(values[keep], float) for values in correction)
    return Corrected(plant, omega, size, turn, last_rad_s)


@response.of(Corrected)
def corrected_response(part: Corrected, omega: float) -> complex:
    """Complex gain at `omega` [rad/s]."""
    lines = part.omega_rad_s
    k = int(np.searchsorted(lines, omega))
    if k == 0:
        size, turn = part.log_gain[0], part.phase_rad[0] * omega / lines[0]
    elif k == len(lines):
        left = max((part.last_rad_s - omega) / (part.last_rad_s - lines[k - 1]), 0.0)
        size, turn = part.log_gain[k - 1], part.phase_rad[k - 1] * left
    else:
        share = math.log(omega / lines[k - 1]) / math.log(lines[k] / lines[k - 1])
        size = part.log_gain[k - 1] + share * (part.log_gain[k] - part.log_gain[k - 1])
        turn = part.phase_rad[k - 1] + share * (part.phase_rad[k] - part.phase_rad[k - 1])
    factor = math.exp(size) * complex(math.cos(turn), math.sin(turn))
    return response(part.plant, omega) * factor  # type: ignore[no-any-return]
