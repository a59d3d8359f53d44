"""Elementary functions without branches or tables, so that they are compiled for one finger and for many alike.

Range reduction by choice, then a polynomial (Chebyshev interpolation in 50 digits), as is common practice (Cody & Waite
1980; Muller, Elementary Functions). Within two units in the last place of the true value.
"""
from __future__ import annotations

import math

import numpy as np

from plant.declare import fused
from plant.numerics.vector import as_float, bits_of, choose, float_of, multiply_add, rounded_down

LOG2_E = 1.4426950408889634
LN2_HIGH, LN2_LOW = 0.6931471803691238, 1.9082149292705877e-10  # the first ends in zeros: n times it is exact
WHOLE = 6755399441055744.0  # 1.5 · 2^52: added to a number, the sum's last bits are its nearest integer
EXP_LOWEST, EXP_HIGHEST = -709.0, 709.7
MANTISSA = 52
BIAS = 1023
SMALLEST_SQUARE_ROOT = 0x3FE6A09E667F3BCD  # bits of √½
HALF_PI, HALF_PI_REST = 1.5707963267948966, 6.123233995736766e-17
QUARTER_PI, QUARTER_PI_REST = 0.7853981633974483, 3.061616997868383e-17
TAN_PI_8, TAN_3_PI_8 = 0.41421356237309503, 2.414213562373095


@fused
def exp(x: float) -> float:
    """e to the x for −708 … 709; zero below that range and inf above it, half a unit sooner or later. NaN stays."""
    held = min(max(x, EXP_LOWEST), EXP_HIGHEST)
    shifted = multiply_add(held, LOG2_E, WHOLE)
    n = shifted - WHOLE
    r = multiply_add(-n, LN2_LOW, multiply_add(-n, LN2_HIGH, held))
    s = r * r
    # (e^r − 1 − r)/r² by even and odd powers: half as long a chain of operations
    even = multiply_add(s, 2.7620088445409746e-07, 2.4801521295954376e-05)
    odd = multiply_add(s, 2.510038549551032e-08, 2.7557268459997064e-06)
    even = multiply_add(s, even, 0.0013888888917213717)
    odd = multiply_add(s, odd, 0.00019841269863053618)
    even = multiply_add(s, even, 0.04166666666662413)
    odd = multiply_add(s, odd, 0.008333333333330062)
    even = multiply_add(s, even, 0.5000000000000001)
    odd = multiply_add(s, odd, 0.16666666666666669)
    power = 1.0 + multiply_add(s, multiply_add(r, odd, even), r)
    # 2^n straight from the bits of n: for n = −1023 these are zero's, for 1024 those of inf
    return power * float_of((bits_of(shifted) + np.uint64(BIAS)) << np.uint64(MANTISSA))


@fused
def power_of_two(n: float) -> float:
    """2 to the n, for a whole number n of −1022 … 1023: straight from its bits."""
    power: float = float_of((bits_of(n + WHOLE) + np.uint64(BIAS)) << np.uint64(MANTISSA))
    return power


@fused
def atan(x: float) -> float:
    """Arctangent [rad], −π/2 … π/2. NaN stays."""
    size = abs(x)
    near, far = size <= TAN_PI_8, size > TAN_3_PI_8
    above = choose(near, size, choose(far, -1.0, size - 1.0))
    below = choose(near, 1.0, choose(far, size, size + 1.0))
    t = above / below
    base = choose(near, 0.0, choose(far, HALF_PI, QUARTER_PI))
    rest = choose(near, 0.0, choose(far, HALF_PI_REST, QUARTER_PI_REST))
    z = t * t
    w = z * z
    # (atan(t)/t − 1)/z by even and odd powers of z
    even = multiply_add(w, -0.019173922285454965, -0.05085365922341002)
    odd = multiply_add(w, 0.03922923713827552, 0.05858132894427219)
    even = multiply_add(w, even, -0.06664509603255293)
    odd = multiply_add(w, odd, 0.07692183059894106)
    even = multiply_add(w, even, -0.09090904572487347)
    odd = multiply_add(w, odd, 0.11111111015117626)
    even = multiply_add(w, even, -0.1428571428466482)
    odd = multiply_add(w, odd, 0.19999999999995513)
    even = multiply_add(w, even, -0.3333333333333333)
    series = multiply_add(z, odd, even)
    return math.copysign(base + (multiply_add(t * z, series, rest) + t), x)


@fused
def log(x: float) -> float:
    """Natural logarithm of a positive normal number; anything else has no meaning here."""
    word = bits_of(x)
    # as many halvings as leave √½ … √2
    reduced = word - np.uint64(SMALLEST_SQUARE_ROOT) + (np.uint64(BIAS) << np.uint64(MANTISSA))
    exponent = as_float(reduced >> np.uint64(MANTISSA)) - float(BIAS)
    mantissa = (reduced & np.uint64((1 << MANTISSA) - 1)) + np.uint64(SMALLEST_SQUARE_ROOT)
    f = float_of(mantissa) - 1.0
    s = f / (2.0 + f)
    z = s * s
    series = multiply_add(z, 0.14616721179907316, 0.15331699633539508)
    series = multiply_add(z, series, 0.18182889786191203)
    series = multiply_add(z, series, 0.22222211125722807)
    series = multiply_add(z, series, 0.28571428626031065)
    series = multiply_add(z, series, 0.3999999999989938)
    series = multiply_add(z, series, 0.666666666666667)
    # 2s = f − s f exactly, and what is rounded then is small beside f
    small = multiply_add(exponent, LN2_LOW, s * (multiply_add(z, series, -f)))
    return multiply_add(exponent, LN2_HIGH, f + small)


@fused
def cosine_of_turns(turns: float) -> float:
    """cos(2π · turns); exact at every quarter of a turn. The sine is that of a quarter of a turn less."""
    quarter = rounded_down(4.0 * turns + 0.5)
    angle = 2.0 * math.pi * (turns - 0.25 * quarter)
    which = quarter - 4.0 * rounded_down(0.25 * quarter)
    z = angle * angle
    sine = multiply_add(z, 1.5918101230273893e-10, -2.5051131455427943e-08)
    sine = multiply_add(z, sine, 2.755731610068303e-06)
    sine = multiply_add(z, sine, -0.0001984126983675497)
    sine = multiply_add(z, sine, 0.008333333333330946)
    sine = multiply_add(z, sine, -0.16666666666666666)
    sine = multiply_add(angle * z, sine, angle)
    cosine = multiply_add(z, -1.1382472421637792e-11, 2.0876143606111727e-09)
    cosine = multiply_add(z, cosine, -2.755731725562319e-07)
    cosine = multiply_add(z, cosine, 2.480158729872305e-05)
    cosine = multiply_add(z, cosine, -0.0013888888888887352)
    cosine = multiply_add(z, cosine, 0.041666666666666664)
    cosine = 1.0 + multiply_add(z * z, cosine, -0.5 * z)
    part = choose((which == 1.0) | (which == 3.0), sine, cosine)
    signed: float = choose((which == 1.0) | (which == 2.0), -part, part)
    return signed
