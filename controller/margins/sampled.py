"""The plant as the firmware sees it: sampled at the tick behind a hold, with dead time exact to the fraction of a tick.

x_{k+1} = Φ x_k + Γ1 u_old + Γ2 u_new, the command changing at the share f of the tick (Åström & Wittenmark,
Computer-Controlled Systems, sampling of systems with time delay):
    Φ = e^{AT},   Γ2 = ∫_0^{(1−f)T} e^{As} ds B,   Γ1 = e^{A(1−f)T} ∫_0^{fT} e^{As} ds B,
    u_new = u_{k−w},   u_old = u_{k−w−1},   dead time = (w + f) T.
"""
from __future__ import annotations

import cmath
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.response import response
from controller.tick.timing import Timing, dead_ticks
from plant.linear import Linear

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]


class SampledPlant(NamedTuple):
    """Frequency response of the sampled plant from demand to error, ready for the compiled margin search.

    The plant's Φ is kept in Schur form, which is safe for repeated poles. An actuator stage that looks at the measured
    pressure closes an inner loop; its slopes are part of the plant seen by the controller.
    """

    schur: Complex  # (n, n) upper triangular
    new_command: Complex  # (n,) Γ2 in Schur coordinates
    old_command: Complex  # (n,) Γ1 in Schur coordinates
    light_row: Complex  # (n,) to the light signal
    reading_row: Complex  # (n,) to the pressure reading
    whole_ticks: int  # w
    period_s: float
    by_demand: float  # slope of the command by demand (actuator stage)
    by_reading: float  # slope of the command by measured pressure (actuator stage) [1/mmHg]
    light_slope: float  # light per mmHg by which the firmware normalises its error


class Discrete(NamedTuple):
    """Sampled plant matrices from command to (light, reading), and to cuff pressure."""

    phi: Real  # (n, n)
    old: Real  # (n,) Γ1
    new: Real  # (n,) Γ2
    c: Real  # (2, n)
    whole_ticks: int
    share: float
    period_s: float
    cuff: Real  # (n,) row to cuff pressure [mmHg]; zero for a twin without


def sample(twin: Linear, timing: Timing) -> Discrete:
    """Sample a plant twin exactly: zero-order hold with dead time of any length."""
    whole, share = dead_ticks(timing)
    column = twin.b[:, twin.inputs.index("command")]
    rows = twin.c[[twin.outputs.index("light"), twin.outputs.index("reading")]]
    cuff = twin.c[twin.outputs.index("cuff_pressure")] if "cuff_pressure" in twin.outputs else np.zeros(len(twin.a))
    late_phi, late = _held(twin.a, column, (1.0 - share) * timing.period_s)
    early_phi, early = _held(twin.a, column, share * timing.period_s)
    return Discrete(late_phi @ early_phi, late_phi @ early, late, rows, whole, share, timing.period_s, cuff)


def _held(a: Real, b: Real, duration_s: float) -> tuple[Real, Real]:
    """e^{A h} and ∫ e^{As} ds B over h, from one matrix exponential (Van Loan 1978)."""
    from scipy.linalg import expm

    n = len(a)
    block = np.zeros((n + 1, n + 1))
    block[:n, :n], block[:n, n] = a, b
    whole = expm(block * duration_s)
    return whole[:n, :n], whole[:n, n]


def sampled_plant(discrete: Discrete, by_demand: float, by_reading: float, light_slope: float) -> SampledPlant:
    """The compiled form of a sampled plant with its actuator stage and error normalisation."""
    from scipy.linalg import schur

    triangular, unitary = schur(discrete.phi, output="complex")
    left = unitary.conj().T
    light, reading = discrete.c.astype(complex) @ unitary
    return SampledPlant(
        np.ascontiguousarray(triangular), np.ascontiguousarray(left @ discrete.new),
        np.ascontiguousarray(left @ discrete.old), np.ascontiguousarray(light), np.ascontiguousarray(reading),
        discrete.whole_ticks, discrete.period_s, by_demand, by_reading, light_slope,
    )


def sampled_row(discrete: Discrete, row: Real) -> SampledPlant:
    """The compiled way from command to one output, without an actuator stage: its response is that output's gain."""
    return sampled_plant(discrete._replace(c=np.stack([row, row])), 1.0, 0.0, 1.0)


@response.of(SampledPlant)
def sampled_response(plant: SampledPlant, omega: float) -> complex:
    """Complex gain from demand to −error [mmHg] at `omega` [rad/s], inner loop of the actuator stage closed."""
    z = cmath.exp(1j * omega * plant.period_s)
    n = len(plant.new_command)
    state = np.empty(n, np.complex128)
    light, reading = 0j, 0j
    for i in range(n - 1, -1, -1):  # back substitution in (zI − T) x = Γ
        value = plant.new_command[i] + plant.old_command[i] / z
        for j in range(i + 1, n):
            value += plant.schur[i, j] * state[j]
        state[i] = value / (z - plant.schur[i, i])
        light += plant.light_row[i] * state[i]
        reading += plant.reading_row[i] * state[i]
    delay = cmath.exp(-1j * omega * plant.period_s * plant.whole_ticks)
    return plant.by_demand * light * delay / (1.0 - plant.by_reading * reading * delay) / plant.light_slope


def augmented(discrete: Discrete, by_demand: float, by_reading: float, light_slope: float) -> tuple[Real, Real, Real]:
    """State matrices from demand to −error with the delay line as states and the inner loop closed.

    States: plant, then the last w (+1 with a fraction) commands, newest first. Returns A, B (column), C (row).
    """
    n, w = len(discrete.phi), discrete.whole_ticks
    line = w + (1 if discrete.share > 0.0 else 0)
    a = np.zeros((n + line, n + line))
    b = np.zeros(n + line)
    a[:n, :n] = discrete.phi
    if w == 0:
        b[:n] = discrete.new
    else:
        a[:n, n + w - 1] += discrete.new
    if discrete.share > 0.0:
        a[:n, n + w] += discrete.old
    if line:
        b[n] = 1.0
        for i in range(1, line):
            a[n + i, n + i - 1] = 1.0
    light = np.concatenate([discrete.c[0], np.zeros(line)]) / light_slope
    reading = np.concatenate([discrete.c[1], np.zeros(line)])
    return a + by_reading * np.outer(b, reading), by_demand * b, light
