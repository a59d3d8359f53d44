"""What rounding adds to the clamped loop: white noise where a word is stored, through the closed loop (Lyapunov).

A word that is rounded is off by up to half a step, evenly: variance Δ²/12, less what the dropped bits cannot show
(Δ² (1 − 4^-shift)/12; Bennett 1948 and Widrow 1956 for when it holds). The noises enter the exact sampled loop at their
places; the variance of cuff pressure is that of a linear system driven by them. It is a model: a signal that hardly
moves is not rounded like noise, and then the simulation decides.

The loop's own converters make more of it. Two runs that differ by a little d at a converter of step s read the same
most of the time and a whole step apart on the share |d|/s of the ticks: variance s·E|d|, in place of d². With E|d| =
σ√(2/π) that is an equation for σ, solved by iteration from above; its solution without any rounding is what two runs
in doubles differ by once their last bits have parted (own reasoning; the simulation is held against it). An actuator
stage that jumps over a dead band parts two runs further, in a way that is not linear: that is left to the simulation.
"""
from __future__ import annotations

import math
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
ROUNDS = 400  # of the iteration; each brings the logarithm of σ half way


class Converters(NamedTuple):
    """Steps of the loop's converters; 0 for none."""

    light: float  # share of full scale
    reading_mmHg: float
    command: float


NO_CONVERTERS = Converters(0.0, 0.0, 0.0)


class AddedNoise(NamedTuple):
    """Rms of cuff pressure [mmHg] that each word adds, what converters make of it, and all; infinite when unstable."""

    error: float
    lead: float
    notch: float
    rate: float
    demand: float
    converters: float
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


class Noisy(NamedTuple):
    """The closed loop with its noises: x⁺ = A x + B n, y = C x + D n.

    States: the sampled plant with its delay line, then the law's five as `ControllerState` has them. Inputs: errors at
    PLACES, then of light [1], reading [mmHg] and command. Outputs: cuff pressure [mmHg], and light, reading and command
    before their converters.
    """

    a: Real
    b: Real
    c: Real
    d: Real


def closed_loop(loop: Loop, law: Coefficients) -> Noisy:
    """The loop with this law as matrices."""
    a, by_demand, light = augmented(loop.discrete, loop.by_demand, loop.by_reading, loop.light_slope)
    n = len(a)
    column = by_demand / loop.by_demand  # of the command
    whole = np.eye(n + 5 + 8)  # rows: states and inputs, as combinations of themselves
    state, noise = whole[n : n + 5], whole[n + 5 :]
    seen = np.concatenate([light, np.zeros(13)])  # light through its slope
    error = -seen - noise[5] / loop.light_slope + noise[0]
    led = law.lead_b0 * error + state[0] + noise[1]
    clean = law.notch_b0 * led + state[1] + noise[2]
    rate = law.derivative_gain * clean + state[4] + noise[3]
    integral = law.integral_new * clean + state[3]
    demand = law.proportional * clean + integral + rate + noise[4]
    reading = np.concatenate([loop.discrete.c[1], np.zeros(len(whole) - len(loop.discrete.c[1]))])
    rows = np.zeros((n + 5, len(whole)))
    rows[:n, :n] = a  # the reading's way to the command is in there
    rows[:n] += np.outer(by_demand, demand) + np.outer(column, loop.by_reading * noise[6] + noise[7])
    rows[n] = law.lead_b1 * error - law.lead_a1 * led
    rows[n + 1] = law.notch_b1 * led - law.notch_a1 * clean + state[2]
    rows[n + 2] = law.notch_b2 * led - law.notch_a2 * clean
    rows[n + 3] = integral + law.integral_old * clean if law.integral_new != 0.0 else 0.0  # else a constant bias
    rows[n + 4] = law.derivative_pole * rate - law.derivative_gain * clean
    cuff = np.concatenate([loop.discrete.cuff, np.zeros(len(whole) - len(loop.discrete.cuff))])
    command = loop.by_demand * demand + loop.by_reading * (reading + noise[6])
    out = np.array([cuff, loop.light_slope * seen, reading, command])
    return Noisy(rows[:, : n + 5], rows[:, n + 5 :], out[:, : n + 5], out[:, n + 5 :])


def variance_gains(noisy: Noisy) -> Real | None:
    """Variance of each output by a unit variance of each input, shape (4, 8); None for a loop that is not stable."""
    from scipy.linalg import solve_discrete_lyapunov

    if np.max(np.abs(np.linalg.eigvals(noisy.a))) >= 1.0:
        return None
    found = []
    for row, straight in zip(noisy.c, noisy.d, strict=True):
        weight = solve_discrete_lyapunov(noisy.a.T, np.outer(row, row))
        found.append(np.maximum(np.einsum("ip,ij,jp->p", noisy.b, weight, noisy.b), 0.0) + straight**2)
    return np.array(found)


def parted(gains: Real, own: Real, converters: Converters) -> Real:
    """Variances of what light, reading and command are apart behind their converters, rounding noises being `own`."""
    steps = np.array(converters)
    most = steps**2 / 6.0  # two errors that know nothing of each other
    variance = most.copy()
    for _ in range(ROUNDS):
        before = gains[1:] @ np.concatenate([own, variance])
        apart = steps * np.sqrt(before * (2.0 / math.pi)) - before  # in place of `before`, which goes on by itself
        variance = np.clip(apart, 0.0, most)
    return variance


def added_noise(
    loop: Loop, law: FixedLaw, formats: Formats, converters: Converters = NO_CONVERTERS
) -> AddedNoise:
    """Rms [mmHg] that rounding adds to cuff pressure at one operating point, with the coefficients rounded too."""
    gains = variance_gains(closed_loop(loop, effective(law, formats)))
    if gains is None:
        return AddedNoise._make([np.inf] * 7)
    own = variances(law, formats)
    each = gains[0] * np.concatenate([own, parted(gains, own, converters)])
    made = [*each[:5].tolist(), float(np.sum(each[5:])), float(np.sum(each))]
    return AddedNoise._make([math.sqrt(value) for value in made])


def parted_noise(loop: Loop, law: Coefficients, converters: Converters) -> float:
    """Rms of cuff pressure [mmHg] by which two runs in doubles differ once their converters' last bits have parted."""
    gains = variance_gains(closed_loop(loop, law))
    if gains is None:
        return math.inf
    return math.sqrt(float(gains[0, 5:] @ parted(gains, np.zeros(5), converters)))
