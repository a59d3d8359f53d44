"""The limit: the least tracking error that any linear controller of a sampled plant with its dead time could reach.

Every controller that stabilises the plant gives, and every stable Q is given by one (Youla, Jabr & Bongiorno 1976):
    S = S0 − P M² Q,   M = S0/V,   V = (1 − 1/z)^m,
with S0 the sensitivity under any one stabilising controller and m its integrators. The error variance
    Σ_k  p_k |S_k|² + n_k |1 − S_k|²     (arterial pressure through S, light noise through T)
is then a convex quadratic of Q, and |S| ≤ Ms at each frequency a disc. Q is a finite impulse response, whose length is
raised until nothing changes; the programme is solved by Newton's method with a logarithmic barrier (Boyd &
Vandenberghe, Convex Optimization, ch. 11), which also says how far from the optimum it stopped.
"""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Reals = NDArray[np.float64]
Complexes = NDArray[np.complex128]

GAP = 1e-4  # of the variance, at which the barrier stops
STEEPER = 8.0  # growth of the barrier's weight
MOST_STEPS = 60  # of Newton at one weight
HEAVIEST = 1e12  # weight over its first value
INDEPENDENT = 1e-10  # share of the largest singular value below which a direction is rounding error
ARMIJO = 0.25


class LoopSamples(NamedTuple):
    """A stable loop on a grid of frequencies, and how much each of them weighs; arrays of shape (n,)."""

    omega_rad_s: Reals  # above 0, up to π/T
    plant: Complexes
    controller: Complexes  # of the stabilising controller
    pressure_mmHg2: Reals  # variance of arterial pressure that falls to each frequency
    noise_mmHg2: Reals  # variance of the light's noise that falls to each
    period_s: float
    integrators: int  # of that controller


class Limit(NamedTuple):
    """The best found; rms is NaN where no controller of this many taps keeps the bound."""

    rms_mmHg: float
    least_mmHg: float  # no Q of this many taps has less rms: the optimum lies between the two
    sensitivity: Complexes  # (n,) S at the grid
    peak: float  # largest |S| on the grid
    taps: int


def samples_sensitivity(samples: LoopSamples) -> Complexes:
    """S under the stabilising controller, shape (n,)."""
    return np.asarray(1.0 / (1.0 + samples.plant * samples.controller))


def error_rms(samples: LoopSamples, sensitivity: Complexes) -> float:
    """Servo error [mmHg rms] of a sensitivity on the grid."""
    pressure = samples.pressure_mmHg2 * np.abs(sensitivity) ** 2
    return math.sqrt(float(np.sum(pressure + samples.noise_mmHg2 * np.abs(1.0 - sensitivity) ** 2)))


def best_possible(
    samples: LoopSamples, largest_peak: float, taps: int = 120, largest_complementary: Reals | None = None
) -> Limit:
    """Least tracking error of any linear controller with |S| ≤ `largest_peak` (infinite for no bound) on the grid.

    `largest_complementary`, shape (n,), bounds |T| = |1 − S| as well. The result is what `taps` taps of Q reach.
    """
    programme = _programme(samples, largest_peak, taps, largest_complementary)
    x = np.zeros(programme.real.shape[1])
    if math.isinf(largest_peak) and largest_complementary is None:
        x = _newton_free(programme)
        return _limit(samples, programme, x, 0.0, taps)
    feasible = _reach_bounds(programme, x)
    if feasible is None:
        return Limit(math.nan, math.nan, programme.start, math.nan, taps)
    return _limit(samples, programme, *_follow_barrier(programme, feasible), taps)


# --- the programme: s = start − slopes·x in real and imaginary parts, bounds on |s − centre| --------------------------


class _Programme(NamedTuple):
    start: Complexes  # (n,) S0
    real: Reals  # (n, taps) slope of S by each tap
    imaginary: Reals
    hessian: Reals  # (taps, taps) of half the variance
    linear: Reals  # (taps,) its slope at 0
    constant: float  # the variance at 0
    centre: Complexes  # (m,) of each disc
    radius: Reals  # (m,)
    rows: NDArray[np.intp]  # (m,) frequency of each disc


def _programme(samples: LoopSamples, peak: float, taps: int, complementary: Reals | None) -> _Programme:
    z = np.exp(1j * samples.omega_rad_s * samples.period_s)
    start = samples_sensitivity(samples)
    free = samples.plant * (start / (1.0 - 1.0 / z) ** samples.integrators) ** 2
    weight = samples.pressure_mmHg2 + samples.noise_mmHg2
    slopes = _orthonormal(-free[:, None] * z[:, None] ** -np.arange(taps), weight)
    # p|s|² + n|1 − s|² = (p + n)|s|² − 2 n Re s + n
    hessian = np.real(slopes.conj().T @ (weight[:, None] * slopes))
    linear = np.real(slopes.conj().T @ (weight * start)) - np.real(slopes).T @ samples.noise_mmHg2
    constant = error_rms(samples, start) ** 2
    n = len(start)
    centre, radius, rows = [np.zeros(n, complex)], [np.full(n, peak)], [np.arange(n)]
    if math.isinf(peak):
        centre, radius, rows = [], [], []
    if complementary is not None:
        bounded = np.nonzero(np.isfinite(complementary))[0]
        centre.append(np.ones(len(bounded), complex))
        radius.append(complementary[bounded])
        rows.append(bounded)
    joined = [np.concatenate(part) if part else np.zeros(0) for part in (centre, radius, rows)]
    return _Programme(start, np.real(slopes), np.imag(slopes), hessian, linear, constant,
                      joined[0].astype(complex), joined[1], joined[2].astype(np.intp))


def _orthonormal(slopes: Complexes, weight: Reals) -> Complexes:
    """The same responses from other columns, which stand square to each other: neighbouring taps are much alike.

    Columns that are rounding error of the others are left out.
    """
    scale = np.sqrt(1.0 + weight / max(float(np.mean(weight)), 1e-300))[:, None]
    weighted = scale * slopes
    left, size, _ = np.linalg.svd(np.vstack([weighted.real, weighted.imag]), full_matrices=False)
    kept = left[:, size > INDEPENDENT * size[0]]
    half = len(slopes)
    return np.asarray((kept[:half] + 1j * kept[half:]) / scale)


def _variance(programme: _Programme, x: Reals) -> float:
    return float(programme.constant + 2.0 * programme.linear @ x + x @ programme.hessian @ x)


def _offsets(programme: _Programme, x: Reals) -> Complexes:
    """(m,) where each bounded response lies from the centre of its disc."""
    moved = programme.start + programme.real @ x + 1j * (programme.imaginary @ x)
    return np.asarray(moved[programme.rows] - programme.centre)


def _newton_free(programme: _Programme) -> Reals:
    return _solve(programme.hessian, -programme.linear)


def _solve(matrix: Reals, right: Reals) -> Reals:
    """Solution of a positive definite system that may be close to singular, scaled to a unit diagonal."""
    from scipy.linalg import cho_factor, cho_solve

    scale = 1.0 / np.sqrt(np.maximum(np.diag(matrix), 1e-300))
    scaled = matrix * np.outer(scale, scale)
    ridge = 1e-14
    while True:
        try:
            factor = cho_factor(scaled + ridge * np.eye(len(scale)))
            return np.asarray(scale * cho_solve(factor, scale * right))
        except np.linalg.LinAlgError:
            ridge *= 100.0


def _centre(programme: _Programme, x: Reals, weight: float, radius: Reals) -> Reals:
    """Newton's method on  weight·variance − Σ log(radius² − |offset|²)  from a point inside all discs."""

    def value(at: Reals) -> float:
        room = radius**2 - np.abs(_offsets(programme, at)) ** 2
        if np.any(room <= 0.0):
            return math.inf
        return weight * _variance(programme, at) - float(np.sum(np.log(room)))

    real, imaginary = programme.real[programme.rows], programme.imaginary[programme.rows]
    here = value(x)
    for _ in range(MOST_STEPS):
        offset = _offsets(programme, x)
        room = radius**2 - np.abs(offset) ** 2
        pull = 2.0 * (offset.real[:, None] * real + offset.imag[:, None] * imaginary) / room[:, None]
        slope = 2.0 * weight * (programme.linear + programme.hessian @ x) + np.sum(pull, axis=0)
        share = np.sqrt(2.0 / room)[:, None]
        bend = 2.0 * weight * programme.hessian + pull.T @ pull
        bend += (share * real).T @ (share * real) + (share * imaginary).T @ (share * imaginary)
        step = _solve(bend, -slope)
        decrement = float(-slope @ step)
        if decrement < 1e-7:
            break
        length = 1.0
        while not (trial := value(x + length * step)) <= here - ARMIJO * length * decrement and length > 1e-12:
            length *= 0.5
        if length <= 1e-12:
            break
        x, here = x + length * step, trial
    return x


def _reach_bounds(programme: _Programme, x: Reals) -> Reals | None:
    """A point inside all discs, by centring in larger ones that shrink; None where there is none."""
    for _ in range(200):
        grown = float(np.max(np.abs(_offsets(programme, x)) / programme.radius))
        if grown < 1.0:
            return x
        x = _centre(programme, x, 1e-9 / max(programme.constant, 1e-300), 1.02 * grown * programme.radius)
        if float(np.max(np.abs(_offsets(programme, x)) / programme.radius)) > 0.9995 * grown:
            return None
    return None


def _follow_barrier(programme: _Programme, x: Reals) -> tuple[Reals, float]:
    """The optimum to within a share of GAP, and the gap [mmHg²] that is left."""
    bounds = len(programme.radius)
    first = weight = bounds / max(_variance(programme, x), 1e-300)
    while True:
        x = _centre(programme, x, weight, programme.radius)
        gap = bounds / weight
        if gap <= GAP * max(_variance(programme, x), 1e-300) or weight > HEAVIEST * first:
            return x, gap
        weight *= STEEPER


def _limit(samples: LoopSamples, programme: _Programme, x: Reals, gap: float, taps: int) -> Limit:
    sensitivity = programme.start + programme.real @ x + 1j * (programme.imaginary @ x)
    rms = error_rms(samples, sensitivity)
    return Limit(rms, math.sqrt(max(rms * rms - gap, 0.0)), sensitivity, float(np.max(np.abs(sensitivity))), taps)
