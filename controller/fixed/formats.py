"""The plan of formats: how many bits stand after the point of each word, each coefficient and each sum.

A word takes as many bits before its point as its range asks for. A coefficient is rounded to its own word length, then
carries zeros up to the point of the sum that it goes into; a sum has as many bits after its point as the finest
coefficient asks for and the proof allows.
"""
from __future__ import annotations

import math
from typing import Any, NamedTuple

from controller.fixed.law import FixedLaw
from controller.fixed.proof import largest_sums, prove
from controller.fixed.ranges import Ranges
from controller.fixed.words import ROUNDINGS, store
from controller.tick.law import Coefficients
from plant.errors import InputError

LEAST_BITS, MOST_BITS = 8, 32
LEAST_COEFFICIENT_BITS = 4  # of any coefficient that is left: with fewer it is no coefficient
ROOM = 62  # bits that a planned sum may take: one below what the proof allows


class Formats(NamedTuple):
    """Bits after the point of each signal and of each sum, and what they follow from."""

    words: int  # bits of a word, sign included
    coefficient_words: int  # significant bits of a coefficient, sign included
    rounding: str
    ranges: Ranges
    error: int
    lead: int
    notch: int
    rate: int
    demand: int
    lead_sum: int
    notch_sum: int
    rate_sum: int
    demand_sum: int  # and of the integral


class Part(NamedTuple):
    """A coefficient on its way into a sum: its value, and bits after the point of the signal that it multiplies."""

    value: float
    signal: int


def point(range_: float, words: int) -> int:
    """Bits after the point of a word with this range."""
    return words - 1 - math.ceil(math.log2(range_))


def finest(parts: list[Part], length: int, at_least: int) -> int:
    """Bits after the point of a sum in which its finest coefficient keeps all its bits."""
    asked = [part.signal + _own_bits(part.value, length) for part in parts if part.value != 0.0]
    return max([at_least, *asked])


def _own_bits(value: float, length: int) -> int:
    """Bits after the point of a coefficient of this length."""
    return length - 1 - (math.floor(math.log2(abs(value))) + 1)


def word_of(part: Part, length: int, total: int) -> int:
    """A coefficient rounded to its length, in units that bring its product to the sum's point."""
    if part.value == 0.0:
        return 0
    own = min(_own_bits(part.value, length), total - part.signal)
    rounded = math.floor(math.ldexp(part.value, own) + 0.5)
    return rounded << (total - part.signal - own)


def plan(
    coefficients: Coefficients, words: int, ranges: Ranges, coefficient_words: int | None = None,
    rounding: str = "nearest",
) -> tuple[FixedLaw, Formats]:
    """The law on words of so many bits (8 … 32), and its formats.

    Raises InputError for a length or a rounding that is none, for ranges in which a sum does not fit 63 bits, and for
    a coefficient that would keep fewer than 4 bits; it names the sum.
    """
    length = words if coefficient_words is None else coefficient_words
    for name, value in (("words", words), ("coefficient words", length)):
        if not LEAST_BITS <= value <= MOST_BITS:
            raise InputError(f"{name} = {value}: must be between {LEAST_BITS} and {MOST_BITS} bits")
    if rounding not in ROUNDINGS:
        raise InputError(f"rounding = {rounding!r}: one of {', '.join(ROUNDINGS)}")
    for name, size in ranges._asdict().items():
        if not (math.isfinite(size) and size > 0.0):
            raise InputError(f"range of {name} = {size:g}: must be above zero and finite")
    points = {name: point(getattr(ranges, key), words) for name, key in (
        ("error", "error_mmHg"), ("lead", "lead_mmHg"), ("notch", "notch_mmHg"), ("rate", "rate"),
        ("demand", "demand"))}
    floors = {f"{name}_sum": points[name] for name in _MEMBERS}
    if coefficients.derivative_gain != 0.0:  # the derivative's word goes into the demand's sum
        floors["demand_sum"] = max(points["demand"], points["rate"])
    sums = {f"{name}_sum": finest(parts, length, floors[f"{name}_sum"])
            for name, parts in _sums(coefficients, points).items()}
    while True:  # a sum that is too wide gives up its last bit
        formats = Formats(words, length, rounding, ranges, **points, **sums)
        law = _law(coefficients, formats)
        wide = {name for name, size in largest_sums(law).items() if size >= 1 << ROOM}
        give = {owner for owner, members in _MEMBERS.items() if wide & members}
        lower = {f"{name}_sum" for name in give if sums[f"{name}_sum"] > floors[f"{name}_sum"]}
        if not lower:
            break
        sums = {name: bits - (name in lower) for name, bits in sums.items()}
    _check_bits(coefficients, formats)
    prove(law)
    return law, formats


_MEMBERS = {  # sums of the proof that share a point
    "lead": {"lead", "state of the lead"}, "notch": {"notch", "states of the notch"},
    "rate": {"derivative", "state of the derivative"}, "demand": {"demand", "integral", "preset integral"},
}


def _sums(c: Coefficients, points: dict[str, int]) -> dict[str, list[Part]]:
    """The coefficients that go into each sum, with the points of what they multiply."""
    error, lead, notch, rate = (points[name] for name in ("error", "lead", "notch", "rate"))
    return {
        "lead": [Part(c.lead_b0, error), Part(c.lead_b1, error), Part(c.lead_a1, lead)],
        "notch": [Part(c.notch_b0, lead), Part(c.notch_b1, lead), Part(c.notch_b2, lead), Part(c.notch_a1, notch),
                  Part(c.notch_a2, notch)],
        "rate": [Part(c.derivative_gain, notch), Part(c.derivative_pole, rate)],
        "demand": [Part(c.proportional, notch), Part(c.integral_new, notch), Part(c.integral_old, notch),
                   Part(c.tracking_gain, points["demand"])],
    }


def steady_gains(c: Coefficients) -> tuple[float, float]:
    """Gains of lead and notch for a steady input."""
    return ((c.lead_b0 + c.lead_b1) / (1.0 + c.lead_a1),
            (c.notch_b0 + c.notch_b1 + c.notch_b2) / (1.0 + c.notch_a1 + c.notch_a2))


def _law(c: Coefficients, f: Formats) -> FixedLaw:
    """The law in these formats, not yet proved."""
    def whole(value: float, signal: int, total: int) -> int:
        return word_of(Part(value, signal), f.coefficient_words, total)

    steady_lead, steady_notch = steady_gains(c)
    most = f.ranges.demand + (abs(c.proportional) + abs(c.integral_new)) * f.ranges.notch_mmHg
    own: dict[str, Any] = {name: store(f.words, getattr(f, f"{name}_sum") - getattr(f, name), f.rounding)
                           for name in ("lead", "notch", "rate", "demand")}
    return FixedLaw(
        c.period_s, c.output_low, c.output_high, c.slew_per_tick, c.output_quantum,
        2.0**f.error, 2.0**-f.error, 2.0**-f.lead, 2.0**-f.notch, 2.0**-f.rate, 2.0**f.demand, 2.0**-f.demand,
        whole(c.lead_b0, f.error, f.lead_sum), whole(c.lead_b1, f.error, f.lead_sum),
        whole(c.lead_a1, f.lead, f.lead_sum), whole(steady_lead, f.error, f.lead_sum), 1 << (f.lead_sum - f.lead),
        whole(c.notch_b0, f.lead, f.notch_sum), whole(c.notch_b1, f.lead, f.notch_sum),
        whole(c.notch_b2, f.lead, f.notch_sum), whole(c.notch_a1, f.notch, f.notch_sum),
        whole(c.notch_a2, f.notch, f.notch_sum), whole(steady_notch, f.lead, f.notch_sum),
        1 << (f.notch_sum - f.notch),
        whole(c.derivative_gain, f.notch, f.rate_sum), whole(c.derivative_pole, f.rate, f.rate_sum),
        whole(c.proportional, f.notch, f.demand_sum), whole(c.integral_new, f.notch, f.demand_sum),
        whole(c.integral_old, f.notch, f.demand_sum), whole(c.tracking_gain, f.demand, f.demand_sum),
        1 << (f.demand_sum - f.rate) if c.derivative_gain != 0.0 else 0,
        1 << (f.demand_sum - f.demand), math.floor(math.ldexp(most, f.demand_sum)),
        store(f.words, 0, f.rounding), **own,
    )


def _check_bits(c: Coefficients, f: Formats) -> None:
    """Refuse a plan in which a coefficient has lost its bits. Raises InputError."""
    points = {name: getattr(f, name) for name in ("error", "lead", "notch", "rate", "demand")}
    for name, parts in _sums(c, points).items():
        for part in parts:
            left = getattr(f, f"{name}_sum") - part.signal + math.floor(math.log2(abs(part.value))) + 2 \
                if part.value else MOST_BITS
            if left < LEAST_COEFFICIENT_BITS:
                raise InputError(
                    f"the sum of the {name} has no room for its coefficient {part.value:.3g} in {f.words}-bit words: "
                    f"{max(left, 0)} bits would be left; choose a smaller range or other words")


def effective(law: FixedLaw, formats: Formats) -> Coefficients:
    """The coefficients that the words stand for, as real numbers: whose margins are those of the fixed law."""
    f = formats

    def real(word: int, signal: int, total: int) -> float:
        return math.ldexp(float(word), signal - total)

    return Coefficients(
        law.period_s, real(law.proportional, f.notch, f.demand_sum), real(law.integral_new, f.notch, f.demand_sum),
        real(law.integral_old, f.notch, f.demand_sum), real(law.derivative_pole, f.rate, f.rate_sum),
        real(law.derivative_gain, f.notch, f.rate_sum), real(law.lead_b0, f.error, f.lead_sum),
        real(law.lead_b1, f.error, f.lead_sum), real(law.lead_a1, f.lead, f.lead_sum),
        real(law.notch_b0, f.lead, f.notch_sum), real(law.notch_b1, f.lead, f.notch_sum),
        real(law.notch_b2, f.lead, f.notch_sum), real(law.notch_a1, f.notch, f.notch_sum),
        real(law.notch_a2, f.notch, f.notch_sum), law.output_low, law.output_high, law.slew_per_tick,
        real(law.tracking_gain, f.demand, f.demand_sum), law.output_quantum,
    )
