"""From a continuous filter to its difference equation, by three methods (Franklin, Powell & Workman; common practice).

    tustin           s = c (z − 1)/(z + 1),  c = 2/T, or ω/tan(ωT/2) to be exact at ω (prewarp)
    backward_euler   s = (z − 1)/(T z)
    matched          every pole and zero at z = e^{sT}, a zero at infinity at z = −1, gain matched at zero frequency
Sections are written in the delay q = 1/z:  (b0 + b1 q + b2 q²)/(1 + a1 q + a2 q²).
"""
from __future__ import annotations

import cmath
import math
from typing import Literal, NamedTuple

Method = Literal["tustin", "backward_euler", "matched"]
METHODS: tuple[Method, ...] = ("tustin", "backward_euler", "matched")


class Rule(NamedTuple):
    """How s is replaced: method, tick, and the factor c of Tustin or 1/T of backward Euler."""

    method: Method
    period_s: float
    rate_per_s: float


class FirstOrder(NamedTuple):
    """(b0 + b1 q)/(1 + a1 q)."""

    b0: float
    b1: float
    a1: float


class Biquad(NamedTuple):
    """(b0 + b1 q + b2 q²)/(1 + a1 q + a2 q²)."""

    b0: float
    b1: float
    b2: float
    a1: float
    a2: float


class Integrator(NamedTuple):
    """(new + old q)/(1 − q): weights of this tick's and the last tick's input."""

    new: float
    old: float


class Derivative(NamedTuple):
    """gain (1 − q)/(1 − pole q)."""

    pole: float
    gain: float


def rule(method: Method, period_s: float, prewarp_Hz: float = 0.0) -> Rule:
    """The replacement of s at a tick [s]; `prewarp_Hz` (below Nyquist, 0 for none) counts for Tustin only."""
    if method != "tustin":
        return Rule(method, period_s, 1.0 / period_s)
    omega = 2.0 * math.pi * prewarp_Hz
    return Rule(method, period_s, omega / math.tan(0.5 * omega * period_s) if omega > 0.0 else 2.0 / period_s)


def lead(zero_rad_s: float, pole_rad_s: float, by: Rule) -> FirstOrder:
    """(1 + s/zero)/(1 + s/pole), both in rad/s and above zero."""
    if by.method == "matched":
        zero, pole = math.exp(-zero_rad_s * by.period_s), math.exp(-pole_rad_s * by.period_s)
        gain = math.expm1(-pole_rad_s * by.period_s) / math.expm1(-zero_rad_s * by.period_s)
        return FirstOrder(gain, -gain * zero, -pole)
    top, bottom = _replaced_line(by.rate_per_s / zero_rad_s, by), _replaced_line(by.rate_per_s / pole_rad_s, by)
    return FirstOrder(top[0] / bottom[0], top[1] / bottom[0], bottom[1] / bottom[0])


def notch(centre_rad_s: float, zero_damping: float, pole_damping: float, by: Rule) -> Biquad:
    """(s² + 2 ζz ω s + ω²)/(s² + 2 ζp ω s + ω²): gain ζz/ζp at the centre ω, one far from it."""
    if by.method == "matched":
        top, bottom = (_matched_pair(centre_rad_s, damping, by.period_s) for damping in (zero_damping, pole_damping))
        gain = sum(bottom) / sum(top)
        return Biquad(gain, gain * top[1], gain * top[2], bottom[1], bottom[2])
    top, bottom = (_replaced_square(by.rate_per_s / centre_rad_s, 2.0 * damping, by)
                   for damping in (zero_damping, pole_damping))
    b0, b1, b2, a1, a2 = (value / bottom[0] for value in (*top, bottom[1], bottom[2]))
    return Biquad(b0, b1, b2, a1, a2)


def integrator(gain_per_s: float, by: Rule) -> Integrator:
    """gain/s. The matched zero at infinity makes it the trapezium rule of plain Tustin."""
    if by.method == "backward_euler":
        return Integrator(gain_per_s * by.period_s, 0.0)
    weight = gain_per_s / by.rate_per_s if by.method == "tustin" else 0.5 * gain_per_s * by.period_s
    return Integrator(weight, weight)


def derivative(gain_s: float, filter_s: float, by: Rule) -> Derivative:
    """gain s/(1 + s filter), matched by its slope at zero frequency. Tustin needs a filter time above zero."""
    if gain_s == 0.0:
        return Derivative(0.0, 0.0)
    if by.method == "matched":
        falls = -math.expm1(-by.period_s / filter_s) if filter_s > 0.0 else 1.0
        return Derivative(1.0 - falls, gain_s * falls / by.period_s)
    first, second = _replaced_line(filter_s * by.rate_per_s, by)
    return Derivative(0.0 - second / first, gain_s * by.rate_per_s / first)


def _replaced_line(slope: float, by: Rule) -> tuple[float, float]:
    """1 + slope·(s/rate) in powers of q, times the rule's denominator."""
    return (1.0 + slope, 1.0 - slope) if by.method == "tustin" else (1.0 + slope, -slope)


def _replaced_square(ratio: float, middle: float, by: Rule) -> tuple[float, float, float]:
    """x² + middle·x + 1 with x = ratio·(s/rate), in powers of q, times the rule's denominator squared."""
    square, cross = ratio * ratio, middle * ratio
    if by.method == "tustin":
        return square + cross + 1.0, 2.0 - 2.0 * square, square - cross + 1.0
    return square + cross + 1.0, -2.0 * square - cross, square


def _matched_pair(omega: float, damping: float, period_s: float) -> tuple[float, float, float]:
    """(1 − z₁ q)(1 − z₂ q) with z = e^{sT} for the two roots of s² + 2 ζ ω s + ω²."""
    apart = cmath.sqrt(damping * damping - 1.0)
    one, two = (cmath.exp(omega * period_s * (-damping + sign * apart)) for sign in (1.0, -1.0))
    return 1.0, -(one + two).real, (one * two).real
