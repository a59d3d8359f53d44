"""Everything a loop's frequency response tells about its margins, for one loop or for many, compiled.

Closed-loop poles outside the stability boundary are counted by the argument principle (Nyquist 1932): with P open-loop
poles outside, m integrators, and arg(1 + L) turning by Δ along the upper half of the boundary from just above zero
frequency, Z = P + m/2 − Δ/π. Between its two ends 1 + L turns a full circle only by crossing the negative real axis,
that is, where L crosses it beyond -1, so Δ follows from the refined crossings and not from the grid.
"""
from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numba import types
from numba.extending import overload
from numba.np.unsafe.ndarray import to_fixed_tuple
from numpy.typing import NDArray

from controller.margins.crossings import (
    Complexes,
    LARGEST_TURN_rad,
    Reals,
    Scratch,
    above_axis,
    above_level,
    above_unit,
    beyond_axis,
    beyond_unit,
    closest,
    dips,
    loop_at,
    refine_axis,
    refine_level,
    refine_unit,
    scratch,
    square,
    trace,
)
from controller.response import response
from plant.declare import compiled, inlined

Integers = NDArray[np.int64]

NEGLIGIBLE = 1e-9  # |L| at a "crossing" that is in truth a zero of L on the boundary
ROUNDING = 1e-13  # a sine of the phase, or a distance from the unit circle, that may be rounding error
TOWARDS_ZERO = 1e-3  # the value at zero frequency is taken at this share of the lowest grid frequency


class Survey(NamedTuple):
    """What one response shows; frequencies in rad/s, angles in rad; infinity or NaN where there is none.

    All are floats, counts too, so that many surveys make one array.
    """

    unstable: float  # count of closed-loop poles outside the stability boundary
    resolved: float  # 0 when the grid could not follow the phase everywhere, else 1
    gain_crossovers: float  # count
    phase_crossovers: float  # count
    gain_margin: float
    gain_margin_omega: float
    gain_reduction: float
    phase_margin: float
    crossover_omega: float
    delay_margin_s: float
    modulus: float
    modulus_omega: float
    bandwidth_omega: float


class Curve(NamedTuple):
    """A plant's response on the grid, and where it ends."""

    omega: Reals  # rad/s
    response: Complexes
    last: float  # as for `ends`


def filled(template: Any, row: Reals) -> Any:
    """A NamedTuple of the template's class whose fields are the floats of `row`; callable from compiled code."""
    return type(template)(*(float(value) for value in row))


@overload(filled)
def _filled(template, row):  # type: ignore[no-untyped-def]  # Numba compares the two signatures, notes and all
    named_tuple: Any = types.BaseNamedTuple
    if not isinstance(template, named_tuple):
        return None
    part_class, length = template.instance_class, len(template)
    first: Any = to_fixed_tuple
    return lambda template, row: part_class(*first(row, length))


@inlined
def ends(plant: Any, controller: Any, low: float, last: float) -> tuple[float, float, bool]:
    """Real value of L at zero frequency and at the upper end, and whether the upper end circles round zero for ever.

    `last` is π/T for a sampled loop, where L is real; for a continuous one it is negative and its magnitude the
    highest grid frequency: L then ends at its feedthrough, zero unless L stays level far above the grid. With dead
    time the feedthrough turns for ever; its worst direction counts.
    """
    start = loop_at(plant, controller, TOWARDS_ZERO * low).real
    if last > 0.0:
        return start, loop_at(plant, controller, last).real, False
    high, higher = loop_at(plant, controller, -1e3 * last), loop_at(plant, controller, -1e5 * last)
    size = math.sqrt(square(higher))
    if size <= 0.5 * math.sqrt(square(high)) or size < NEGLIGIBLE:
        return start, 0.0, False
    if abs(higher.imag) < 1e-3 * size:
        return start, higher.real, False
    return start, -size, True


@inlined
def above_minus(value: complex) -> float:
    """Phase [rad] of `value` above that of -1, in (-π, π] even when rounding has put it below."""
    angle = math.atan2(-value.imag, -value.real)
    return angle if angle > -math.pi + 1e-12 else math.pi


@inlined
def cross_unit(plant: Any, controller: Any, work: Scratch, count: int) -> int:
    """Every gain crossover: frequency, and phase of L above -180° (in (-180°, 180°], as rad), into `work`."""
    omega, loop = work.omega, work.loop
    found, j = 0, 0
    before = above_unit(loop[0], 0.0)
    for i in range(1, count):
        here = above_unit(loop[i], 0.0)
        if abs(here) < ROUNDING:
            continue  # on the circle to rounding: the samples beside it decide
        if abs(before) < ROUNDING:
            j, before = i, here  # no sample before this one was off the circle
            continue
        k = i + 1 if i + 1 < count else max(i - 2, 0)  # a third sample beside the bracket
        after = above_unit(loop[k], 0.0)
        if (here > 0.0) != (before > 0.0):
            w, value = refine_unit(0.0, plant, controller, (omega[j], before), (omega[i], here), (omega[k], after))
            work.gain_omega[found], work.gain_margin_rad[found] = w, above_minus(value)
            found += 1
        elif k > i and (after > 0.0) == (here > 0.0) and dips(before, here, after):
            w, f, there = beyond_unit(plant, controller, omega[j], before, omega[i], here, omega[k], after)
            if there:
                near = (omega[i], here) if w > omega[i] else (omega[j], before)
                far = (omega[k], after) if w > omega[i] else (omega[i], here)
                for a, b, c in ((near, (w, f), far), ((w, f), far, near)):
                    x, value = refine_unit(0.0, plant, controller, a, b, c)
                    work.gain_omega[found], work.gain_margin_rad[found] = x, above_minus(value)
                    found += 1
        j, before = i, here
    return found


@inlined
def on_axis(value: complex) -> bool:
    """Whether L is real to rounding."""
    return value.imag**2 < ROUNDING**2 * square(value)


@inlined
def keep_phase_crossover(work: Scratch, found: int, w: float, value: complex) -> int:
    """Note a crossing of the real axis if it is on the negative side and not a zero of L."""
    if value.real < -NEGLIGIBLE:
        work.phase_omega[found], work.phase_gain[found] = w, -1.0 / value.real
        return found + 1
    return found


@inlined
def cross_axis(plant: Any, controller: Any, work: Scratch, count: int) -> tuple[int, int, bool, bool]:
    """Every phase crossover inside the grid (frequency and gain margin, into `work`), the downward minus upward
    crossings of the axis beyond -1, and whether L begins and ends above the axis."""
    omega, loop = work.omega, work.loop
    found, turns, j = 0, 0, 0
    for i in range(1, count):
        l0, l1 = loop[j], loop[i]
        if on_axis(l1):
            continue  # on the axis to rounding: the samples beside it decide
        if on_axis(l0):
            j = i  # no sample before this one was off the axis
            continue
        k = i + 1 if i + 1 < count else max(i - 2, 0)
        if (l0.imag > 0.0) != (l1.imag > 0.0):
            if l0.real < 0.0 or l1.real < 0.0:
                w, value = refine_axis(0.0, plant, controller, (omega[j], above_axis(l0, 0.0)),
                                       (omega[i], above_axis(l1, 0.0)), (omega[k], above_axis(loop[k], 0.0)))
                found = keep_phase_crossover(work, found, w, value)
                if value.real < -1.0:
                    turns += 1 if l0.imag > 0.0 else -1
        elif l1.real < 0.0 and k > i and (loop[k].imag > 0.0) == (l1.imag > 0.0) and l1.imag**2 < 0.1 * square(l1):
            f0, f1, f2 = above_axis(l0, 0.0), above_axis(l1, 0.0), above_axis(loop[k], 0.0)
            if dips(f0, f1, f2):
                w, f, there = beyond_axis(plant, controller, omega[j], f0, omega[i], f1, omega[k], f2)
                if there:
                    near = (omega[i], f1) if w > omega[i] else (omega[j], f0)
                    far = (omega[k], f2) if w > omega[i] else (omega[i], f1)
                    for a, b, c in ((near, (w, f), far), ((w, f), far, near)):
                        x, value = refine_axis(0.0, plant, controller, a, b, c)
                        found = keep_phase_crossover(work, found, x, value)
                        if value.real < -1.0:
                            turns += 1 if a[1] > 0.0 else -1
        j = i
    last_above = on_axis(loop[j]) or loop[j].imag > 0.0
    first_above = last_above
    for i in range(count):
        if not on_axis(loop[i]):
            first_above = loop[i].imag > 0.0
            break
    return found, turns, first_above, last_above


@inlined
def quarter_turns(reach: float, above: bool, integrators: int) -> int:
    """Argument of 1 + L at an end of the boundary, in quarter turns, exactly.

    There 1 + L is real, of the sign of `reach`, or infinite along one of the axes as integrators make it; `above` says
    on which side of the real axis L lies beside that end.
    """
    if integrators % 2 == 1:
        return 1 if above else -1
    if reach > 0.0:
        return 0
    return 2 if above else -2


@inlined
def nearest(plant: Any, controller: Any, work: Scratch, count: int) -> tuple[float, float]:
    """Least |1 + L| over the sampled band, and its frequency [rad/s]."""
    omega, loop = work.omega, work.loop
    least, where = math.sqrt(square(1.0 + loop[0])), omega[0]
    last = math.sqrt(square(1.0 + loop[count - 1]))
    if last < least:
        least, where = last, omega[count - 1]
    before, here = square(1.0 + loop[0]), square(1.0 + loop[1])
    for i in range(1, count - 1):
        after = square(1.0 + loop[i + 1])
        if here < before and here <= after:
            w, distance = closest(plant, controller, omega[i - 1], loop[i - 1], omega[i], loop[i], omega[i + 1],
                                  loop[i + 1])
            if distance < least:
                least, where = distance, w
        before, here = here, after
    return least, where


@inlined
def first_fall(plant: Any, controller: Any, work: Scratch, count: int, level: float) -> float:
    """Lowest frequency [rad/s] at which |L/(1 + L)|² falls below `level`; infinity when it does not in the band."""
    before = above_level(work.loop[0], level)
    for i in range(1, count):
        here = above_level(work.loop[i], level)
        if before > 0.0 and here <= 0.0:
            k = i + 1 if i + 1 < count else max(i - 2, 0)
            w, _ = refine_level(level, plant, controller, (work.omega[i - 1], before), (work.omega[i], here),
                                (work.omega[k], above_level(work.loop[k], level)))
            return w  # type: ignore[no-any-return]
        before = here
    return math.inf


@inlined
def survey(plant: Any, controller: Any, omega: Reals, plant_response: Complexes, last: float, integrators: int,
           unstable_poles: int, work: Scratch) -> Survey:
    """All margins of one loop; `last` as for `ends`, the rest as for `survey_one`."""
    begin = omega[0]
    if integrators > 0:  # a crossover on the low-frequency asymptote, below the grid, must be seen too
        size = abs(plant_response[0] * response(controller, begin))
        begin *= min(1.0, max(size / 10.0, 1e-30) ** (1.0 / integrators))
    count, resolved = trace(plant, controller, omega, plant_response, LARGEST_TURN_rad, begin, False, work)
    start, end, circling = ends(plant, controller, omega[0], last)
    top = last if last > 0.0 else math.inf
    gains = cross_unit(plant, controller, work, count)
    phases, turns, above, above_last = cross_axis(plant, controller, work, count)
    reach = work.loop[0].real if integrators > 0 else 1.0 + start
    turn = quarter_turns(1.0 + end, above_last, 0) - quarter_turns(reach, above, integrators) + 4 * turns
    unstable = unstable_poles + (integrators - turn) // 2
    if circling and end <= -1.0:
        unstable = max(unstable, 1)
    if last < 0.0 and end == 0.0 and square(work.loop[count - 1]) >= 1.0:
        resolved = False  # the grid ends before the loop gain has fallen below one
    if integrators == 0:
        phases = keep_phase_crossover(work, phases, 0.0, complex(start, 0.0))
    phases = keep_phase_crossover(work, phases, top, complex(end, 0.0))

    gain_margin, gain_margin_omega, reduction = math.inf, math.nan, 0.0
    for i in range(phases):
        gain = work.phase_gain[i]
        nearer = abs(math.log(gain)) < abs(math.log(gain_margin))
        if nearer and (gain > 1.0 or unstable != 0):  # an unstable loop: the nearest gain at which poles cross
            gain_margin, gain_margin_omega = gain, work.phase_omega[i]
        if gain < 1.0:
            reduction = max(reduction, gain)

    margin, crossover, delay = math.inf, math.nan, math.inf
    for i in range(gains):
        angle = work.gain_margin_rad[i]
        if abs(angle) < abs(margin):
            margin, crossover = angle, work.gain_omega[i]
        delay = min(delay, (angle if angle >= 0.0 else angle + 2.0 * math.pi) / work.gain_omega[i])
    if abs(end) >= 1.0:  # the upper end itself turns through -1 when delayed
        delay = min(delay, math.pi / top if end > 0.0 else 0.0)
    if unstable != 0:
        delay = 0.0

    modulus, modulus_omega = nearest(plant, controller, work, count)
    if gains > 0 and 2.0 * abs(math.sin(0.5 * margin)) < modulus:  # on the boundary: known there to the last digit
        modulus, modulus_omega = 2.0 * abs(math.sin(0.5 * margin)), crossover
    if integrators == 0 and abs(1.0 + start) < modulus:
        modulus, modulus_omega = abs(1.0 + start), 0.0
    if abs(1.0 + end) < modulus:
        modulus, modulus_omega = abs(1.0 + end), top

    bandwidth = math.nan
    if unstable == 0:
        level = 0.5 if integrators > 0 else 0.5 * (start / (1.0 + start)) ** 2
        bandwidth = first_fall(plant, controller, work, count, level)
    return Survey(float(unstable), 1.0 if resolved else 0.0, float(gains), float(phases), gain_margin,
                  gain_margin_omega, reduction, margin, crossover, delay, modulus, modulus_omega, bandwidth)


@compiled
def grid(plant: Any, controller: Any, omega: Reals, largest_turn_rad: float,
         capacity: int) -> tuple[Reals, Complexes, bool]:
    """Frequencies [rad/s]: `omega`, with intervals halved until L turns less than `largest_turn_rad` in each.

    Returns them, the plant's response there, and whether that was reached within `capacity` samples.
    """
    work = scratch(capacity)
    values = np.empty(len(omega), np.complex128)
    for i in range(len(omega)):
        values[i] = response(plant, omega[i])
    count, resolved = trace(plant, controller, omega, values, largest_turn_rad, omega[0], True, work)
    plant_response = np.empty(count, np.complex128)
    for i in range(count):
        plant_response[i] = response(plant, work.omega[i])
    return work.omega[:count].copy(), plant_response, resolved


@compiled
def survey_one(plant: Any, controller: Any, omega: Reals, plant_response: Complexes, last: float, integrators: int,
               unstable_poles: int, capacity: int) -> tuple[Survey, Reals, Reals, Reals, Reals]:
    """One loop's survey; then frequencies [rad/s] and phase margins [rad] of all gain crossovers, and frequencies and
    gain margins of all phase crossovers."""
    work = scratch(capacity)
    found = survey(plant, controller, omega, plant_response, last, integrators, unstable_poles, work)
    gains, phases = int(found.gain_crossovers), int(found.phase_crossovers)
    return (found, work.gain_omega[:gains].copy(), work.gain_margin_rad[:gains].copy(),
            work.phase_omega[:phases].copy(), work.phase_gain[:phases].copy())


@compiled
def survey_many(plant: Any, template: Any, rows: Reals, curve: Curve, integrators: Integers, unstable_poles: Integers,
                capacity: int) -> Reals:
    """The survey of every row of controller parameters, shape (rows, 13), columns as the fields of `Survey`."""
    work = scratch(capacity)
    table = np.empty((len(rows), 13))
    for i in range(len(rows)):
        controller = filled(template, rows[i])
        found = survey(plant, controller, curve.omega, curve.response, curve.last, integrators[i], unstable_poles[i],
                       work)
        for k in range(len(found)):
            table[i, k] = found[k]
    return table
