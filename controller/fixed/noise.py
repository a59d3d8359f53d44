"""What rounding adds to the clamped loop: white noise where a word is stored, through the closed loop (Lyapunov).

A word that is rounded is off by up to half a step, evenly: variance Δ²/12, less what the dropped bits cannot show
(Δ² (1 − 4^-shift)/12; Bennett 1948 and Widrow 1956 for when it holds). The noises enter the exact sampled loop at their
places; P = A P Aᵀ + B Q Bᵀ gives the variance of cuff pressure. It is a model: a signal that hardly moves is not
rounded like noise, and then the simulation decides.
"""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.fixed.formats import Formats, effective
from controller.fixed.law import FixedLaw
from controller.fixed.words import Store
from controller.margins.loop import Loop
from controller.margins.sampled import augmented
from controller.tick.law import Coefficients

Real = NDArray[np.float64]
PLACES = ("error", "lead", "notch", "rate", "demand")


class AddedNoise(NamedTuple):
    """Rms of cuff pressure [mmHg] that each word adds, and all together; infinite for a loop that is not stable."""

    error: float
    lead: float
    notch: float
    rate: float
    demand: float
    whole: float


def variances(law: FixedLaw, formats: Formats) -> Real:
    """Variance of the rounding at each of PLACES, in the square of its unit."""
    def of(store: Store, step: float, is_real: bool = False) -> float:
        share = 1.0 if is_real else 1.0 - 4.0**-store.shift
        return share * step * step / 12.0

    # a block that only passes its word on drops nothing but zeros
    plain_lead = law.lead_b1 == 0 and law.lead_a1 == 0 and law.lead_b0 == law.lead_unit \
        and formats.lead == formats.error
    plain_notch = all(word == 0 for word in (law.notch_b1, law.notch_b2, law.notch_a1, law.notch_a2)) \
        and law.notch_b0 == law.notch_unit
    return np.array([
        of(law.error, law.error_step, True), 0.0 if plain_lead else of(law.lead, law.lead_step),
        0.0 if plain_notch else of(law.notch, law.notch_step),
        of(law.rate, law.rate_step) if law.derivative_gain != 0 else 0.0, of(law.demand, law.demand_step),
    ])


def closed_loop(loop: Loop, law: Coefficients) -> tuple[Real, Real, Real]:
    """The loop with this law as matrices A, B and a row to cuff pressure; inputs are errors at PLACES.

    States: the sampled plant with its delay line, then the law's five as `ControllerState` has them.
    """
    a, b, light = augmented(loop.discrete, loop.by_demand, loop.by_reading, loop.light_slope)
    n = len(a)
    place = np.eye(5)
    rows = np.zeros((n + 5, n + 5 + 5))  # next states by states and inputs
    state = np.concatenate([np.zeros((5, n)), np.eye(5), np.zeros((5, 5))], axis=1)  # the law's states
    noise = np.concatenate([np.zeros((5, n + 5)), place], axis=1)
    error = np.concatenate([-light, np.zeros(10)]) + noise[0]
    led = law.lead_b0 * error + state[0] + noise[1]
    clean = law.notch_b0 * led + state[1] + noise[2]
    rate = law.derivative_gain * clean + state[4] + noise[3]
    integral = law.integral_new * clean + state[3]
    demand = law.proportional * clean + integral + rate + noise[4]
    rows[:n, :n] = a
    rows[:n] += np.outer(b, demand)
    rows[n] = law.lead_b1 * error - law.lead_a1 * led
    rows[n + 1] = law.notch_b1 * led - law.notch_a1 * clean + state[2]
    rows[n + 2] = law.notch_b2 * led - law.notch_a2 * clean
    rows[n + 3] = integral + law.integral_old * clean
    rows[n + 4] = law.derivative_pole * rate - law.derivative_gain * clean
    if law.integral_new == 0.0:  # a constant bias, not a dynamic of the loop
        rows[n + 3] = 0.0
    cuff = np.concatenate([loop.discrete.cuff, np.zeros(len(a) - len(loop.discrete.cuff) + 5)])
    return rows[:, : n + 5], rows[:, n + 5 :], cuff


def added_noise(loop: Loop, law: FixedLaw, formats: Formats) -> AddedNoise:
    """Rms [mmHg] that rounding adds to cuff pressure at one operating point, with the coefficients rounded too."""
    from scipy.linalg import solve_discrete_lyapunov

    a, b, row = closed_loop(loop, effective(law, formats))
    if np.max(np.abs(np.linalg.eigvals(a))) >= 1.0:
        return AddedNoise._make([np.inf] * 6)
    # one equation for all places: the variance of the row is vᵀ Q v summed over Aᵏ, so solve for the row instead
    weight = solve_discrete_lyapunov(a.T, np.outer(row, row))
    each = np.maximum(np.einsum("ip,ij,jp->p", b, weight, b), 0.0) * variances(law, formats)
    return AddedNoise._make([*np.sqrt(each).tolist(), float(np.sqrt(np.sum(each)))])
