"""Finger artery: arctangent area law, standard-linear-solid wall, and smooth-muscle tone.

    a∞ = A (½ + atan((p_t − p0)/p1)/π)        (Langewouters, Wesseling & Goedhard 1984)
    a  = φ a∞ + (1 − φ) c,   dc/dt = (a∞ − c)/τ    (standard linear solid in its creep form)
Tone m shifts A, p0 and p1:  A = A_max e^{−k_A m},  p0 = p0* + k_0 m,  p1 = p1* e^{k_1 m}.
Areas are fractions of the maximal area at m = 0. Compliance peaks at p_t = p0, where a∞ = A/2: the unloaded volume.
No published golden values for finger arteries in vivo are known to us; the defaults are invented and say so.
"""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

from plant.declare import compiled, quantity
from plant.linear import Linear, linear
from plant.numerics.elementary import atan, exp


class Artery(NamedTuple):
    """Arteries of one finger, lumped."""

    maximal_area: Annotated[float, quantity("1", 0.05, 5, "maximal area at no tone (A_max)", "normalised")] = 1.0
    unloaded_mmHg: Annotated[
        float, quantity("mmHg", -20, 60, "transmural pressure of peak compliance (p0)", "invented: near low positive")
    ] = 5.0
    half_width_mmHg: Annotated[
        float, quantity("mmHg", 2, 80, "half-width of the compliance peak (p1)", "invented")
    ] = 15.0
    fast_fraction: Annotated[
        float, quantity("1", 0.05, 1, "share of the area change that is immediate (φ)", "invented: 1 Hz < static")
    ] = 0.7
    creep_time_s: Annotated[
        float, quantity("s", 0.05, 1000, "time constant of the rest (τ)", "1–100 s, a modelling choice")
    ] = 4.0
    tone_area: Annotated[float, quantity("1", 0, 10, "shrinking of A per unit tone (k_A)", "invented")] = 0.7
    tone_shift_mmHg: Annotated[float, quantity("mmHg", 0, 100, "rise of p0 per unit tone (k_0)", "invented")] = 8.0
    tone_stiffening: Annotated[float, quantity("1", 0, 3, "widening of p1 per unit tone (k_1)", "invented")] = 0.4


@compiled
def unloaded_pressure(artery: Artery, tone: float) -> float:
    """Transmural pressure of peak compliance [mmHg] at a tone (0 resting, + constricted, − dilated)."""
    return artery.unloaded_mmHg + artery.tone_shift_mmHg * tone


@compiled
def half_width(artery: Artery, tone: float) -> float:
    """Half-width of the compliance peak [mmHg] at a tone."""
    return artery.half_width_mmHg * exp(artery.tone_stiffening * tone)


@compiled
def largest_area(artery: Artery, tone: float) -> float:
    """Maximal area at a tone, as a fraction of that at no tone."""
    return artery.maximal_area * exp(-artery.tone_area * tone)


@compiled
def static_area(artery: Artery, transmural_mmHg: float, tone: float) -> float:
    """Area (fraction) at rest under a transmural pressure [mmHg] and tone."""
    offset = (transmural_mmHg - unloaded_pressure(artery, tone)) * (1.0 / half_width(artery, tone))
    return largest_area(artery, tone) * (0.5 + atan(offset) * (1.0 / math.pi))


@compiled
def static_compliance(artery: Artery, transmural_mmHg: float, tone: float) -> float:
    """dA/dp [1/mmHg] of the static law: A/(π p1) / (1 + ((p_t − p0)/p1)²)."""
    width = half_width(artery, tone)
    offset = (transmural_mmHg - unloaded_pressure(artery, tone)) / width
    return largest_area(artery, tone) / (math.pi * width) / (1.0 + offset * offset)


@compiled
def wall_rate(artery: Artery, creep_area: float, target_area: float) -> float:
    """Rate of the creeping area [1/s] towards the static area."""
    return (target_area - creep_area) * (1.0 / artery.creep_time_s)


@compiled
def present_area(artery: Artery, creep_area: float, target_area: float) -> float:
    """Area now: the immediate share of the static area plus the creeping share."""
    return artery.fast_fraction * target_area + (1.0 - artery.fast_fraction) * creep_area


def linear_twin(artery: Artery, transmural_mmHg: float, tone: float) -> Linear:
    """Twin: (`arterial_pressure`, `external_pressure`) to `area`, at a steady transmural pressure and tone."""
    slope = float(static_compliance(artery, transmural_mmHg, tone))
    pole, fast = 1.0 / artery.creep_time_s, artery.fast_fraction
    return linear(-pole, [[pole * slope, -pole * slope]], 1.0 - fast, [[fast * slope, -fast * slope]],
                  "arterial_pressure external_pressure", "area", "creep_area")
