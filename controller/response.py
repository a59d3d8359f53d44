"""Frequency response of anything that can stand in a loop, as one verb: `response(part, omega)`.

`omega` is in rad/s. A continuous part answers at s = jω, a sampled one at z = exp(jωT) with its own period T.
"""
from __future__ import annotations

import cmath
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plant.declare import compiled, verb

response = verb("response")


@compiled
def sweep(part: Any, omega: NDArray[np.float64]) -> NDArray[np.complex128]:
    """Complex gain of one part along `omega` [rad/s], shape (n,)."""
    values = np.empty(len(omega), np.complex128)
    for i in range(len(omega)):
        values[i] = response(part, omega[i])
    return values


class Zpk(NamedTuple):
    """Zeros, poles and gain, continuous (period_s = 0) or sampled, times a pure delay."""

    zeros: NDArray[np.complex128]  # rad/s, or in the z plane when sampled
    poles: NDArray[np.complex128]  # likewise
    gain: float
    period_s: float = 0.0  # s; 0 for a continuous-time part
    delay_s: float = 0.0  # s; exact, never a rational approximation


@response.of(Zpk)
def zpk_response(part: Zpk, omega: float) -> complex:
    """Complex gain at `omega` [rad/s]. Raises ZeroDivisionError exactly on a pole."""
    point = cmath.exp(1j * omega * part.period_s) if part.period_s > 0.0 else 1j * omega
    value = part.gain * cmath.exp(-1j * omega * part.delay_s)
    for zero in part.zeros:
        value *= point - zero
    for pole in part.poles:
        value /= point - pole
    return value


class Unity(NamedTuple):
    """A gain without dynamics, to stand where a loop has no controller of its own."""

    gain: float = 1.0


@response.of(Unity)
def unity_response(part: Unity, omega: float) -> complex:
    """The gain, at every frequency."""
    return complex(part.gain)
