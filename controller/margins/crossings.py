"""The tools that find a crossing of a loop's frequency response L(ω) = plant · controller, or its point nearest to -1.

The response is sampled on a grid that is halved wherever its phase turns quickly. A crossing is refined inside its
bracket by inverse quadratic interpolation, a nearest point by complex parabolas, both with exact evaluations of L.
All are compiled for each pair of plant and controller classes.
"""
from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.response import response
from plant.declare import inlined

Reals = NDArray[np.float64]
Complexes = NDArray[np.complex128]
Look = tuple[float, float]  # a frequency [rad/s], and a measure of L there

DEEPEST = 60  # halvings of one interval
LARGEST_TURN_rad = 0.3  # of L between neighbouring samples
PROBE = 1e-5  # relative step by which the slope of the phase is taken
NARROWEST = 1e-9  # relative width below which an interval is not halved: a jump of phase at an undamped zero


class Scratch(NamedTuple):
    """Work space of one survey: the sampled curve, the halving stack, and the crossings found."""

    omega: Reals
    loop: Complexes
    stack_omega: Reals
    stack_loop: Complexes
    gain_omega: Reals
    gain_margin_rad: Reals
    phase_omega: Reals
    phase_gain: Reals


@inlined
def scratch(capacity: int) -> Scratch:
    """Work space for a curve of at most `capacity` samples."""
    return Scratch(
        np.empty(capacity), np.empty(capacity, np.complex128), np.empty(DEEPEST + 1),
        np.empty(DEEPEST + 1, np.complex128), np.empty(capacity), np.empty(capacity), np.empty(capacity + 2),
        np.empty(capacity + 2),
    )


@inlined
def loop_at(plant: Any, controller: Any, omega: float) -> complex:
    """L at `omega` [rad/s]."""
    return response(plant, omega) * response(controller, omega)  # type: ignore[no-any-return]


@inlined
def square(value: complex) -> float:
    """|value|², without the square root."""
    return value.real * value.real + value.imag * value.imag


# Each measure is smooth and changes sign at its crossing; all are bounded by 1 in magnitude.


@inlined
def above_unit(loop: complex, level: float) -> float:
    """Positive where |L| > 1."""
    size = square(loop)
    return (size - 1.0) / (size + 1.0)


@inlined
def above_axis(loop: complex, level: float) -> float:
    """Positive where Im L > 0: the sine of the phase."""
    return loop.imag / math.sqrt(square(loop))


@inlined
def above_level(loop: complex, level: float) -> float:
    """Positive where |L/(1 + L)|² > level."""
    high, low = square(loop), level * square(1.0 + loop)
    return (high - low) / (high + low)


@inlined
def dips(fa: float, fb: float, fc: float) -> bool:
    """Three values of one sign, the middle one least, whose parabola comes to zero or within 0.1 of it."""
    bend = fa - 2.0 * fb + fc
    sign = 1.0 if fb > 0.0 else -1.0
    if sign * fb >= min(sign * fa, sign * fc) or sign * bend <= 0.0:
        return False
    return sign * (fb - (fc - fa) ** 2 / (8.0 * bend)) < 0.1


def finder(measure: Any) -> Any:
    """A compiled `refine` for one measure (made per measure: compiled code that takes functions cannot be cached)."""

    @inlined
    def refine(level: float, plant: Any, controller: Any, near: Look, far: Look, third: Look) -> tuple[float, complex]:
        """Frequency between `near` and `far` where the measure changes sign, to about 1e-13 relative, and L there.

        Inverse quadratic interpolation through the three latest points, with bisection whenever that leaves the
        bracket, and at every fifth step. It ends when the measure over its latest slope promises that accuracy.
        """
        (x0, f0), (x1, f1), (x2, f2) = third, near, far
        a, b = x1, x2
        side = f1 > 0.0
        value = 0.0j
        for trial in range(1, 80):
            x = (x0 * f1 * f2 / ((f0 - f1) * (f0 - f2)) + x1 * f0 * f2 / ((f1 - f0) * (f1 - f2))
                 + x2 * f0 * f1 / ((f2 - f0) * (f2 - f1)))
            if not (min(a, b) < x < max(a, b)) or trial % 5 == 0:
                x = 0.5 * (a + b)
            value = loop_at(plant, controller, x)
            f = measure(value, level)
            x0, f0, x1, f1, x2, f2 = x1, f1, x2, f2, x, f
            if (f > 0.0) == side:
                a = x
            else:
                b = x
            if abs(f * (x2 - x1)) <= 2e-13 * x * abs(f2 - f1) or abs(b - a) <= 4e-16 * x:
                break
        return x2, value

    return refine


def dip_finder(measure: Any) -> Any:
    """A compiled `beyond` for one measure."""

    @inlined
    def beyond(plant: Any, controller: Any, a: float, fa: float, b: float, fb: float, c: float,
               fc: float) -> tuple[float, float, bool]:
        """A frequency in (a, c) where the measure has the other sign, its value, and whether there is one.

        Golden-section search for the dip; it ends as soon as the sign has changed.
        """
        sign = 1.0 if fb > 0.0 else -1.0
        for _ in range(40):
            x = b + 0.381966 * (c - b) if c - b > b - a else b - 0.381966 * (b - a)
            f = measure(loop_at(plant, controller, x), 0.0)
            if sign * f < 0.0:
                return x, f, True
            if sign * f < sign * fb:
                if x > b:
                    a, fa, b, fb = b, fb, x, f
                else:
                    c, fc, b, fb = b, fb, x, f
            elif x > b:
                c, fc = x, f
            else:
                a, fa = x, f
            if not dips(fa, fb, fc) and c - a < 1e-3 * b:
                break
        return b, fb, False

    return beyond


refine_unit, beyond_unit = finder(above_unit), dip_finder(above_unit)
refine_axis, beyond_axis = finder(above_axis), dip_finder(above_axis)
refine_level = finder(above_level)


@inlined
def closest(plant: Any, controller: Any, a: float, la: complex, b: float, lb: complex, c: float,
            lc: complex) -> tuple[float, float]:
    """Frequency in (a, c) where |1 + L| is least, and that distance, from samples whose middle one is the nearest.

    The curve is replaced by the complex parabola through the three latest samples, whose nearest point is found by
    Newton's method; L is evaluated there, and again, until the step is negligible. Golden sections keep it in (a, c).
    """
    width = c - a
    best, nearest = b, square(1.0 + lb)
    w0, l0, w1, l1, w2, l2 = a, la, c, lc, b, lb
    for trial in range(60):
        first = (l2 - l1) * (1.0 / (w2 - w1))  # a complex division by zero would raise
        second = (first - (l1 - l0) * (1.0 / (w1 - w0))) * (1.0 / (w2 - w0))
        x = best
        gap = 1.0 + l2
        for _ in range(6):
            slope = first + second * (2.0 * x - w1 - w2)
            gap = 1.0 + l2 + (x - w2) * (first + second * (x - w1))
            curvature = square(slope) + 2.0 * (gap.real * second.real + gap.imag * second.imag)
            x -= (gap.real * slope.real + gap.imag * slope.imag) / curvature
        if abs(x - w2) * abs(w2 - w1) <= 1e-12 * width * best and trial > 0:
            return x, math.sqrt(square(gap))
        if not a < x < c or trial % 6 == 5:
            x = best + 0.381966 * (c - best) if c - best > best - a else best - 0.381966 * (best - a)
        if x in (w0, w1, w2) or c - a <= 1e-12 * best:
            break
        value = loop_at(plant, controller, x)
        w0, l0, w1, l1, w2, l2 = w1, l1, w2, l2, x, value
        distance = square(1.0 + value)
        if distance <= nearest:
            if x > best:
                a = best
            else:
                c = best
            best, nearest = x, distance
        elif x > best:
            c = x
        else:
            a = x
    return best, math.sqrt(nearest)


@inlined
def turning_rate(plant: Any, controller: Any, omega: float, value: complex) -> float:
    """Magnitude of the slope of L's phase [rad per rad/s] at `omega`, where L is `value`."""
    ahead = loop_at(plant, controller, omega * (1.0 + PROBE))
    return abs(ahead.imag * value.real - ahead.real * value.imag) / (square(value) * PROBE * omega)


@inlined
def trace(plant: Any, controller: Any, omega: Reals, plant_response: Complexes, largest_turn: float, start: float,
          probing: bool, work: Scratch) -> tuple[int, bool]:
    """Sample L along `omega`, halving each interval over which it turns more than `largest_turn` [rad] or doubles.

    A `start` below omega[0] puts a sample before it. `probing` looks at the slope of the phase too, which a full turn
    between two samples (of a long dead time) cannot hide from. Returns the number of samples in `work` and whether the
    phase could be followed everywhere.
    """
    bound = math.cos(largest_turn) ** 2
    capacity = len(work.omega)
    work.omega[0], work.loop[0] = start, loop_at(plant, controller, start)
    count, resolved = 1, True
    for i in range(0 if start < omega[0] else 1, len(omega)):
        work.stack_omega[0] = omega[i]
        work.stack_loop[0] = plant_response[i] * response(controller, omega[i])
        depth = 1
        while depth > 0:
            w0, l0, w1, l1 = work.omega[count - 1], work.loop[count - 1], work.stack_omega[depth - 1], \
                work.stack_loop[depth - 1]
            along = l0.real * l1.real + l0.imag * l1.imag
            n0, n1 = square(l0), square(l1)
            turns = along <= 0.0 or along * along < bound * n0 * n1 or not n0 < 4.0 * n1 < 16.0 * n0
            if probing and not turns:
                turns = (w1 - w0) * max(turning_rate(plant, controller, w0, l0),
                                        turning_rate(plant, controller, w1, l1)) > 2.0 * largest_turn
            if turns and w1 - w0 > NARROWEST * w1:
                if depth <= DEEPEST and count + depth + len(omega) - i < capacity:
                    middle = math.sqrt(w0 * w1)
                    work.stack_omega[depth] = middle
                    work.stack_loop[depth] = loop_at(plant, controller, middle)
                    depth += 1
                    continue
                resolved = False
            work.omega[count], work.loop[count] = w1, l1
            count += 1
            depth -= 1
    return count, resolved
