"""What rounding does that is no noise: dead bands, limit cycles, an integral that is blind, filters that stall.

First order, y ← a y rounded to a step: it stays anywhere within ⌊½/(1 − |a|)⌋ steps (Jackson 1969). Second order:
Jackson's ½/(1 − |a₂|) is no bound; ½ Σ|h| steps is (h: impulse response of the poles), and a search tells the rest.
"""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from controller.fixed.formats import Formats, effective
from controller.fixed.law import FixedLaw
from plant.declare import compiled

MOST_SEARCHED = 24  # steps: the search starts from every pair of words within this
MOST_TICKS = 4000
SINGLE_BITS = 24  # significant bits of a number in single precision


class Cycles(NamedTuple):
    """Zero-input oscillation of a filter on words: bound and largest found, in steps of its word."""

    bound_steps: float
    found_steps: int
    step: float  # in the word's unit


class Stall(NamedTuple):
    """A filter with a long memory: how far from its input it can stop, held in a word of so many bits."""

    name: str
    memory_s: float
    single: float  # share of the value in single precision
    words: float  # share of full range in a word


def dead_band(pole: float) -> int:
    """Steps within which a first-order filter with this pole may stay for good (Jackson 1969).

    Raises ValueError for a pole outside the unit circle.
    """
    if not abs(pole) < 1.0:
        raise ValueError(f"pole {pole:g} is not inside the unit circle")
    return math.floor(0.5 / (1.0 - abs(pole)) + 1e-12)


def cycle_bound(a1: float, a2: float) -> float:
    """½ Σ|h| of 1/(1 + a1 q + a2 q²): steps that its zero-input oscillation cannot leave, with one rounding a tick.

    Infinite for poles on or outside the unit circle.
    """
    if np.max(np.abs(np.roots([1.0, a1, a2]))) >= 1.0:
        return math.inf
    before, last, total = 0.0, 1.0, 1.0
    for _ in range(1_000_000):
        before, last = last, -a1 * last - a2 * before
        total += abs(last)
        if abs(last) + abs(before) < 1e-12 * total:
            break
    return 0.5 * total


@compiled
def _largest_cycle(a1: int, a2: int, shift: int, half: int, reach: int, most_ticks: int) -> int:
    """Largest |y| that is left after `most_ticks` from any start within ± reach: y ← −(a1 y₁ + a2 y₂), rounded."""
    largest = 0
    for first in range(-reach, reach + 1):
        for second in range(-reach, reach + 1):
            last, before = first, second
            for _ in range(most_ticks):
                last, before = (half - a1 * last - a2 * before) >> shift, last
                if last == 0 and before == 0:
                    break
            for _ in range(64):
                largest = max(largest, abs(last))
                last, before = (half - a1 * last - a2 * before) >> shift, last
    return largest


def largest_cycle(a1: float, a2: float, fraction_bits: int, reach: int) -> int:
    """Largest zero-input oscillation [steps] of a section with coefficients of so many bits after the point."""
    one, two = (math.floor(math.ldexp(value, fraction_bits) + 0.5) for value in (a1, a2))
    half = (1 << fraction_bits) >> 1
    return int(_largest_cycle(one, two, fraction_bits, half, min(reach, MOST_SEARCHED), MOST_TICKS))


def filter_cycles(law: FixedLaw, formats: Formats) -> dict[str, Cycles]:
    """Dead band or limit cycle of every filter of the law that has a pole; steps are mmHg, the derivative's command."""
    real = effective(law, formats)
    found = {}
    cases = {
        "lead": (law.lead_a1, 0, real.lead_a1, 0.0, law.lead.shift, law.lead.half, law.lead_step),
        "notch": (law.notch_a1, law.notch_a2, real.notch_a1, real.notch_a2, law.notch.shift, law.notch.half,
                  law.notch_step),
        "derivative": (-law.derivative_pole, 0, -real.derivative_pole, 0.0, law.rate.shift, law.rate.half,
                       law.rate_step),
    }
    for name, (one, two, a1, a2, shift, half, step) in cases.items():
        if one == 0 and two == 0:
            continue
        bound = float(dead_band(a1)) if two == 0 else cycle_bound(a1, a2)
        reach = MOST_SEARCHED if not math.isfinite(bound) else min(math.ceil(bound) + 1, MOST_SEARCHED)
        found[name] = Cycles(bound, int(_largest_cycle(one, two, shift, half, reach, MOST_TICKS)), step)
    return found


def blind_error(law: FixedLaw) -> float:
    """Steady error [mmHg] below which nothing of it is left behind lead and notch: the integral stands still."""
    return 0.5 * max(law.error_step, law.lead_step, law.notch_step)


def blind_error_narrow(law: FixedLaw, formats: Formats) -> float:
    """The same [mmHg] if the integral were a word of the demand's format: 2^-F/(2 (new + old)); 0 without one."""
    real = effective(law, formats)
    both = abs(real.integral_new + real.integral_old)
    return 0.5 * law.demand_step / both if both > 0.0 else 0.0


def stall(name: str, memory_s: float, period_s: float, words: int) -> Stall:
    """How far a first-order lag y ← y + (x − y) T/(τ + T) can stop short of its input: ½ step · (τ + T)/T.

    In single precision the step of a value just below a power of two is 2^-24 of it, just above 2^-23 (given).
    """
    ratio = (memory_s + period_s) / period_s
    return Stall(name, memory_s, 0.5 * 2.0 ** (1 - SINGLE_BITS) * ratio, 0.5 * 2.0 ** (1 - words) * ratio)


def stalls(memories: dict[str, float], period_s: float, words: int) -> list[Stall]:
    """The stalls of filters by name, longest memory first; those that remember nothing are left out."""
    known = [stall(name, memory, period_s, words) for name, memory in memories.items() if memory > 0.0]
    return sorted(known, key=lambda one: (-one.memory_s, one.name))
