"""Stability margins of a feedback loop from its exact frequency response, one loop at a time or many at once.

Negative feedback: the loop gain is L(ω) = response(plant, ω) · response(controller, ω) and the closed loop
1/(1 + L). Definitions as in Åström & Murray, Feedback Systems, and Skogestad & Postlethwaite, Multivariable Feedback
Control (from memory): gain margin 1/|L| where the phase is -180°, phase margin the phase above -180° where |L| = 1,
delay margin the dead time that brings a gain crossover to -1, modulus margin min |1 + L|, Ms its inverse.
"""
from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from controller.margins.crossings import Complexes, Reals
from controller.margins.survey import Curve, Survey, grid, survey_many, survey_one
from controller.response import Unity, Zpk, response
from plant.errors import InputError

GRID_TURN_rad = 0.15  # of the phase between grid points
CAPACITY = 200_000  # samples of one curve; a dead time of many turns needs them
BELOW_TOP = 1.0 - 1e-7  # last grid point of a sampled loop, as a share of π/T, where the response is real
NEAR_TOP = (0.55, 0.6, 0.65, 0.7, 0.75, 0.8, 0.85, 0.9, 0.94, 0.97, 0.99, 0.997)  # shares of π/T in every grid
ON_BOUNDARY = 1e-12  # a loop that comes this near to -1 has closed-loop poles on the boundary: not stable
NEAR_ORIGIN = 1e-9  # a pole within this share of the largest corner counts as an integrator


class OpenLoop(NamedTuple):
    """A loop cut open: two parts with a `response`, and what their responses alone do not tell."""

    plant: Any  # any part with `response` registered
    controller: Any  # likewise
    period_s: float  # s; 0 for a continuous loop
    integrators: int  # open-loop poles at s = 0, or z = 1, less zeros there
    unstable_poles: int  # open-loop poles with Re s > 0, or |z| > 1
    low_rad_s: float  # below it the phase stays at its low-frequency asymptote
    high_rad_s: float  # π/T for a sampled loop; for a continuous one, above every corner and with |L| < 1
    features_rad_s: tuple[float, ...] = ()  # frequencies of sharp resonances and notches, to be looked at closely


class GainCrossover(NamedTuple):
    """A frequency where |L| = 1."""

    frequency_Hz: float
    phase_margin_deg: float  # phase of L above -180°, in (-180, 180]


class PhaseCrossover(NamedTuple):
    """A frequency where L is real and negative."""

    frequency_Hz: float  # infinite for the limit at infinite frequency of a loop with feedthrough
    gain_margin: float  # 1/|L|


@dataclass(frozen=True)
class Margins:
    """Margins of one loop. Where a margin has no limit it is infinite, and its frequency NaN.

    For an unstable loop `gain_margin` is the nearest gain factor at which poles cross the boundary (it may be below
    one), the phase margin is that of the crossings, the delay margin 0 and the bandwidth NaN.
    """

    stable: bool
    unstable_closed_loop_poles: int
    gain_margin: float  # factor by which the gain may be raised
    gain_margin_Hz: float  # where that happens
    gain_reduction_margin: float  # factor (< 1) down to which the gain may be lowered; 0 if it may vanish
    phase_margin_deg: float  # smallest in magnitude over all gain crossovers
    crossover_Hz: float  # the gain crossover with that phase margin
    delay_margin_s: float  # dead time that may be added
    delay_margin_ticks: float  # the same in periods; NaN for a continuous loop
    modulus_margin: float  # min |1 + L|
    modulus_margin_Hz: float
    sensitivity_peak: float  # Ms = 1/modulus margin
    bandwidth_Hz: float  # first fall of |L/(1 + L)| to 3 dB below its value at zero frequency; inf if none in the band
    gain_crossovers: tuple[GainCrossover, ...]
    phase_crossovers: tuple[PhaseCrossover, ...]
    period_s: float
    resolved: bool  # False when the frequency grid could not follow the phase: do not trust the rest

    def __str__(self) -> str:
        """Readable lines in Hz, degrees, dB, seconds and samples."""
        from controller.margins.margin_text import lines

        return "\n".join(lines(self))


class ManyMargins(NamedTuple):
    """Margins of many loops, one array entry a loop; meanings as in `Margins`."""

    stable: NDArray[np.bool_]
    unstable_closed_loop_poles: NDArray[np.int64]
    gain_margin: Reals
    gain_margin_Hz: Reals
    gain_reduction_margin: Reals
    phase_margin_deg: Reals
    crossover_Hz: Reals
    delay_margin_s: Reals
    modulus_margin: Reals
    modulus_margin_Hz: Reals
    sensitivity_peak: Reals
    bandwidth_Hz: Reals
    resolved: NDArray[np.bool_]


def margins(loop: OpenLoop, points_per_decade: int = 20) -> Margins:
    """All margins of one loop.

    Raises InputError when the loop's band, period or pole counts cannot be. Crossings are exact to about 1e-12; the
    grid (`points_per_decade`, refined where the phase turns) only has to separate them.
    """
    omega, plant, last, followed = loop_grid(loop, points_per_decade)
    found, gain_omega, phase_margin, phase_omega, gain = survey_one(
        loop.plant, loop.controller, omega, plant, last, loop.integrators, loop.unstable_poles, CAPACITY + len(omega))
    s = Survey(*found)
    gains = sorted(zip(gain_omega / (2 * math.pi), np.degrees(phase_margin), strict=True))
    phases = sorted(zip(phase_omega / (2 * math.pi), gain, strict=True))
    return Margins(
        stable=s.unstable == 0.0 and s.modulus > ON_BOUNDARY,
        unstable_closed_loop_poles=int(s.unstable),
        gain_margin=s.gain_margin,
        gain_margin_Hz=s.gain_margin_omega / (2 * math.pi),
        gain_reduction_margin=s.gain_reduction,
        phase_margin_deg=math.degrees(s.phase_margin),
        crossover_Hz=s.crossover_omega / (2 * math.pi),
        delay_margin_s=s.delay_margin_s,
        delay_margin_ticks=s.delay_margin_s / loop.period_s if loop.period_s > 0.0 else math.nan,
        modulus_margin=s.modulus,
        modulus_margin_Hz=s.modulus_omega / (2 * math.pi),
        sensitivity_peak=1.0 / s.modulus if s.modulus > 0.0 else math.inf,
        bandwidth_Hz=s.bandwidth_omega / (2 * math.pi),
        gain_crossovers=tuple(GainCrossover(float(f), float(p)) for f, p in gains),
        phase_crossovers=tuple(PhaseCrossover(float(f), float(g)) for f, g in phases),
        period_s=loop.period_s,
        resolved=followed and s.resolved == 1.0,
    )


def margins_many(loop: OpenLoop, rows: ArrayLike, integrators: ArrayLike | None = None,
                 unstable_poles: ArrayLike | None = None, points_per_decade: int = 20) -> ManyMargins:
    """Margins of one plant under many controllers of one class.

    `rows` has shape (loops, fields): the fields of `loop.controller`'s class, all of them floats, in their order.
    `integrators` and `unstable_poles`, shape (loops,), override the loop's counts where they differ by row.
    Raises InputError for a wrong shape, a row with a value that is not finite, or a class with other fields.
    """
    kind = type(loop.controller)
    names: tuple[str, ...] = kind._fields
    table = np.ascontiguousarray(rows, dtype=float)
    if not all(isinstance(value, float) for value in loop.controller):
        raise InputError(f"{kind.__name__}: only a controller whose fields are all floats can be given as rows")
    if table.ndim != 2 or table.shape[1] != len(names):
        raise InputError(f"rows: shape {table.shape}, must be (loops, {len(names)}) for the fields {', '.join(names)}")
    bad = np.argwhere(~np.isfinite(table))
    if len(bad):
        i, k = bad[0]
        raise InputError(f"rows: row {i}, {names[k]} = {table[i, k]}, must be finite")
    omega, plant, last, followed = loop_grid(loop, points_per_decade)
    at_origin = _counts("integrators", integrators, loop.integrators, len(table))
    outside = _counts("unstable_poles", unstable_poles, loop.unstable_poles, len(table))
    found = survey_many(loop.plant, loop.controller, table, Curve(omega, plant, last), at_origin, outside,
                        CAPACITY + len(omega))
    s = Survey(*found.T)
    with np.errstate(divide="ignore"):
        peak = 1.0 / np.asarray(s.modulus)
    turn = 2.0 * math.pi
    return ManyMargins(
        stable=np.equal(s.unstable, 0.0) & np.greater(s.modulus, ON_BOUNDARY),
        unstable_closed_loop_poles=np.asarray(s.unstable, dtype=np.int64),
        gain_margin=np.asarray(s.gain_margin),
        gain_margin_Hz=np.divide(s.gain_margin_omega, turn),
        gain_reduction_margin=np.asarray(s.gain_reduction),
        phase_margin_deg=np.degrees(s.phase_margin),
        crossover_Hz=np.divide(s.crossover_omega, turn),
        delay_margin_s=np.asarray(s.delay_margin_s),
        modulus_margin=np.asarray(s.modulus),
        modulus_margin_Hz=np.divide(s.modulus_omega, turn),
        sensitivity_peak=peak,
        bandwidth_Hz=np.divide(s.bandwidth_omega, turn),
        resolved=np.equal(s.resolved, 1.0) & followed,
    )


def gain_margins_dB(gain: ArrayLike, reduction: ArrayLike) -> tuple[Reals, Reals]:
    """Gain margin and gain reduction margin [dB] from their factors; a reduction of nothing is infinite."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return 20.0 * np.log10(gain), -20.0 * np.log10(reduction)


def _counts(name: str, given: ArrayLike | None, own: int, length: int) -> NDArray[np.int64]:
    """A pole count for each row: as given, or the loop's own."""
    values = np.asarray(own if given is None else given)
    if values.shape not in ((), (length,)) or np.any(values < 0) or np.any(values != np.floor(values)):
        raise InputError(f"{name}: must be {length} whole numbers of at least 0, one a row")
    return np.ascontiguousarray(np.broadcast_to(values, (length,)), dtype=np.int64)


def loop_grid(loop: OpenLoop, points_per_decade: int) -> tuple[Reals, Complexes, float, bool]:
    """Frequencies [rad/s], the plant's response there, the upper end as `survey.ends` takes it, and whether the grid
    follows the loop's phase. Raises InputError when the loop's band or pole counts cannot be."""
    top = math.pi / loop.period_s if loop.period_s > 0.0 else loop.high_rad_s
    if not 0.0 < loop.low_rad_s < top < math.inf:
        raise InputError(f"low_rad_s = {loop.low_rad_s:g}: must lie above 0 and below high_rad_s = {top:g}")
    if loop.period_s > 0.0 and not math.isclose(loop.high_rad_s, top, rel_tol=1e-6):
        raise InputError(f"high_rad_s = {loop.high_rad_s:g}: must be π/period_s = {top:g} for a sampled loop")
    if loop.integrators < 0 or loop.unstable_poles < 0:
        raise InputError(f"integrators = {loop.integrators}, unstable_poles = {loop.unstable_poles}: "
                         "must not be negative")
    high = top * BELOW_TOP if loop.period_s > 0.0 else top
    count = max(8, math.ceil(points_per_decade * math.log10(high / loop.low_rad_s)) + 1)
    inside = [f for f in loop.features_rad_s if loop.low_rad_s < f < high]
    if loop.period_s > 0.0:  # even steps where the logarithmic ones are coarse beside a period
        inside += [high * share for share in NEAR_TOP if loop.low_rad_s < high * share]
    base = np.unique(np.concatenate([np.geomspace(loop.low_rad_s, high, count), inside]))
    base = base[np.append(True, np.diff(base) > 1e-6 * base[1:])]  # twins differ by rounding only
    omega, plant, resolved = grid(loop.plant, loop.controller, base, GRID_TURN_rad, CAPACITY + len(base))
    return omega, plant, top if loop.period_s > 0.0 else -top, resolved


# --- loops of zeros, poles and gain -------------------------------------------------------------------------------


def open_loop(plant: Zpk, controller: Zpk | Unity | None = None) -> OpenLoop:
    """An open loop of parts given by zeros, poles and gain, with its poles counted and its band chosen.

    The parts are multiplied into one, under a controller of unit gain. Raises InputError for parts with different
    periods, more zeros than poles, poles on the stability boundary other than integrators, or dead time that is no
    whole number of ticks in a sampled loop.
    """
    whole = _product(plant, controller)
    zeros, poles, _, period, delay = whole
    if len(zeros) > len(poles):
        raise InputError(f"zeros: {len(zeros)} of them with {len(poles)} poles, a loop cannot have more zeros")
    if period > 0.0 and abs(delay / period - round(delay / period)) > 1e-9:
        raise InputError(f"delay_s = {delay:g}: must be a whole number of periods of {period:g} s in a sampled loop")
    integrators, unstable = count_poles(poles, period)
    integrators -= count_poles(zeros, period)[0]
    roots = np.concatenate([poles, zeros])
    corners = _corners(roots, period)
    corners = corners[corners > 0.0] if np.any(corners > 0.0) else np.array([1.0 / period if period else 1.0])
    low, high = 1e-4 * float(corners.min()), math.pi / period if period > 0.0 else 30.0 * float(corners.max())
    if integrators < 0:  # zeros at the origin: a gain crossover on the low-frequency asymptote must lie in the band
        low *= min(1.0, (10.0 * _size(whole, low)) ** (1.0 / integrators))
    if period == 0.0:
        if delay > 0.0:
            high = max(high, 20.0 / delay)
        fall = len(poles) - len(zeros)
        if fall > 0:
            high *= max(1.0, (30.0 * _size(whole, high)) ** (1.0 / fall))
    features = tuple(f for root in roots for f in _features(root, period) if low < f < high)
    return OpenLoop(whole, Unity(1.0), period, max(integrators, 0), unstable, min(low, 0.01 * high), high, features)


def count_poles(poles: ArrayLike, period_s: float) -> tuple[int, int]:
    """How many of these poles are at s = 0 (z = 1 when `period_s` > 0), and how many are outside the boundary.

    Raises InputError for a pole elsewhere on the boundary: an undamped oscillation has no margins.
    """
    values = np.asarray(poles, dtype=complex)
    if period_s > 0.0:
        origin = np.abs(values - 1.0) <= NEAR_ORIGIN
        excess = np.abs(values) - 1.0
    else:
        scale = float(np.max(np.abs(values), initial=0.0))
        origin = np.abs(values) <= NEAR_ORIGIN * scale
        excess = values.real / np.where(origin, 1.0, np.abs(values))
    undamped = ~origin & (np.abs(excess) <= 1e-12)
    if np.any(undamped):
        raise InputError(f"poles: {values[undamped][0]:g} lies on the stability boundary, it must be damped")
    return int(np.sum(origin)), int(np.sum(~origin & (excess > 0.0)))


def _product(plant: Zpk, controller: Zpk | Unity | None) -> Zpk:
    """Both parts in one, with the array and number types that the compiled code is kept for."""
    if controller is None or isinstance(controller, Unity):
        other = Zpk(np.zeros(0, complex), np.zeros(0, complex), controller.gain if controller else 1.0, plant.period_s)
    else:
        other = controller
    if plant.period_s != other.period_s:
        raise InputError(f"period_s: the parts have periods {plant.period_s:g} and {other.period_s:g}, "
                         "they must be equal")
    return Zpk(np.concatenate([plant.zeros, other.zeros]).astype(complex),
               np.concatenate([plant.poles, other.poles]).astype(complex), float(plant.gain * other.gain),
               float(plant.period_s), float(plant.delay_s + other.delay_s))


def _corners(roots: Complexes, period_s: float) -> Reals:
    """Corner frequencies [rad/s] of poles or zeros; 0 for those at the origin (and at z = 0, a pure delay)."""
    if period_s == 0.0:
        return np.asarray(np.abs(roots))
    moving = roots[(np.abs(roots) > 0.0) & (np.abs(roots - 1.0) > NEAR_ORIGIN)]
    return np.asarray(np.minimum(np.abs(np.log(moving)) / period_s, math.pi / period_s))


def _features(root: complex, period_s: float) -> list[float]:
    """Frequencies [rad/s] that show a pole or zero: about its resonance, a decay rate apart where that is sharp."""
    if period_s > 0.0:
        if abs(root) == 0.0 or abs(root - 1.0) <= NEAR_ORIGIN:
            return []
        root = np.log(root) / period_s
    decay, frequency = float(abs(root.real)), float(abs(root.imag))
    if frequency < 2.0 * decay:
        return [float(abs(root))]
    return [frequency + share * decay for share in (-1.5, -0.5, 0.0, 0.5, 1.5)]


def _size(part: Zpk, omega: float) -> float:
    """Magnitude of the response at `omega` [rad/s], never quite zero."""
    return max(float(abs(response(part, omega))), 1e-300)
