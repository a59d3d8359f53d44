"""Finger artery: area law with its own width on either side of the peak, standard-linear-solid wall, vasomotor tone.

    a∞ = A (w₋ π/2 + w± atan((p_t − p0)/w±)) · 2/(π (w₋ + w₊))   (arctangent of Langewouters, Wesseling & Goedhard 1984,
         w₋ below p0 and w₊ above, (w₋ + w₊)/2 = p1; with w₋ = w₊ it is A (½ + atan((p_t − p0)/p1)/π))
    a∞ = A (1 − (1 + y) e^{−y}),  y = max(1 + (p_t − p0)/λ, 0)   (exponential–linear: form from memory, not checked)
    a  = φ a∞ + (1 − φ) c,   dc/dt = (a∞ − c)/τ                  (standard linear solid in its creep form)
Tone m shifts A, p0, p1 and φ:  A = A_max e^{−k_A m},  p0 = p0* + k_0 m,  p1 = p1* e^{k_1 m},
    φ = 1/(1 + κ e^{β m}),  κ = 1/φ* − 1:  muscle in tone carries fast changes and yields to slow ones (Busse et al.
1982: dynamic over static stiffness 8.6–12.1 in a constricted muscular artery, 1.5–1.9 in a relaxed one).
Areas are fractions of the maximal area at m = 0. Compliance peaks at p_t = p0: the unloaded volume.
No published golden values for finger arteries in vivo are known to us; the guide's table says what is published.
"""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

from plant.declare import compiled, quantity, switch
from plant.linear import Linear, linear
from plant.numerics.elementary import atan, exp
from plant.numerics.vector import choose

SPREAD_BY_WIDTH = 1.0 / 1.223193  # λ for half-widths of mean 1: they are 0.76804 and 1.67835 λ


class Artery(NamedTuple):
    """Arteries of one finger, lumped."""

    maximal_area: Annotated[float, quantity("1", 0.05, 5, "maximal area at no tone (A_max)", "normalised")] = 1.0
    unloaded_mmHg: Annotated[
        float, quantity("mmHg", -20, 60, "transmural pressure of peak compliance (p0)", "invented: near low positive")
    ] = 5.0
    half_width_mmHg: Annotated[
        float, quantity("mmHg", 2, 80, "half-width of the compliance peak, mean of both sides (p1)",
                        "none published for fingers; brachial 14.7: Babbs 2012, second-hand")
    ] = 15.0
    fast_fraction: Annotated[
        float, quantity("1", 0.05, 1, "share of the area change that is immediate, at no tone (φ*)",
                        "0.53–0.77 relaxed, 0.08–0.36 constricted: Busse et al. 1982, rat arteries")
    ] = 0.5
    creep_time_s: Annotated[
        float, quantity("s", 0.05, 1000, "time constant of the rest (τ)", "1–100 s, a modelling choice")
    ] = 4.0
    tone_area: Annotated[float, quantity("1", 0, 10, "shrinking of A per unit tone (k_A)", "invented")] = 0.7
    tone_shift_mmHg: Annotated[float, quantity("mmHg", 0, 100, "rise of p0 per unit tone (k_0)", "invented")] = 8.0
    tone_stiffening: Annotated[float, quantity("1", 0, 3, "widening of p1 per unit tone (k_1)", "invented")] = 0.4
    tone_viscosity: Annotated[
        float, quantity("1", 0, 3, "growth of κ = 1/φ − 1 per unit tone (β)", "fits Busse et al. 1982 at m −0.6 … 2")
    ] = 1.1
    collapse_ratio: Annotated[
        float, quantity("1", 0.15, 2, "width below the peak over that above (w₋/w₊)", "0.27: Babbs 2012, second-hand")
    ] = 1.0
    exponential_linear: Annotated[
        bool, switch("exponential–linear law in place of the arctangent; its ratio of widths is its own",
                     "best of eight laws on 122 patients (2023), form from memory")
    ] = False


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
def fast_share(artery: Artery, tone: float) -> float:
    """Share φ of an area change that is immediate, at a tone."""
    return 1.0 / (1.0 + (1.0 / artery.fast_fraction - 1.0) * exp(artery.tone_viscosity * tone))


class Law(NamedTuple):
    """The static law and the wall's fast share at one tone: what a tick works out once."""

    exponential_linear: bool
    largest_area: float
    unloaded_mmHg: float
    below_mmHg: float  # half-widths of the arctangent on either side of the peak; their mean is `half_width`
    above_mmHg: float
    per_below: float  # their reciprocals [1/mmHg]
    per_above: float  # of the exponential–linear law 1/λ
    scale: float  # relative compliance at the peak of the arctangent [1/mmHg]
    fast: float  # φ


@compiled
def law_at(artery: Artery, tone: float) -> Law:
    """The law at a tone."""
    width = half_width(artery, tone)
    above = 2.0 * width / (1.0 + artery.collapse_ratio)
    below = artery.collapse_ratio * above
    per_above = 1.0 / (SPREAD_BY_WIDTH * width) if artery.exponential_linear else 1.0 / above
    return Law(
        artery.exponential_linear, largest_area(artery, tone), unloaded_pressure(artery, tone), below, above,
        1.0 / below, per_above, 2.0 / (math.pi * (below + above)), fast_share(artery, tone),
    )


@compiled
def relative_area(law: Law, transmural_mmHg: float) -> float:
    """Area at rest as a share of the largest at this tone."""
    offset = transmural_mmHg - law.unloaded_mmHg
    if law.exponential_linear:
        reach = max(1.0 + offset * law.per_above, 0.0)
        return 1.0 - (1.0 + reach) * exp(-reach)
    low = offset < 0.0
    width: float = choose(low, law.below_mmHg, law.above_mmHg)
    turned = width * atan(offset * choose(low, law.per_below, law.per_above))
    return (0.5 * math.pi * law.below_mmHg + turned) * law.scale


@compiled
def compliance_parts(law: Law, transmural_mmHg: float) -> tuple[float, float]:
    """Numerator [1/mmHg] and denominator of d(relative area)/dp at rest: a caller may save a division."""
    offset = transmural_mmHg - law.unloaded_mmHg
    if law.exponential_linear:
        reach = max(1.0 + offset * law.per_above, 0.0)
        return reach * exp(-reach) * law.per_above, 1.0
    share = offset * choose(offset < 0.0, law.per_below, law.per_above)
    return law.scale, 1.0 + share * share


@compiled
def relative_compliance(law: Law, transmural_mmHg: float) -> float:
    """d(relative area)/dp [1/mmHg] at rest."""
    above, below = compliance_parts(law, transmural_mmHg)
    return above / below


@compiled
def static_area(artery: Artery, transmural_mmHg: float, tone: float) -> float:
    """Area (fraction) at rest under a transmural pressure [mmHg] and tone."""
    law = law_at(artery, tone)
    return law.largest_area * relative_area(law, transmural_mmHg)


@compiled
def static_compliance(artery: Artery, transmural_mmHg: float, tone: float) -> float:
    """dA/dp [1/mmHg] of the static law; symmetric it is A/(π p1) / (1 + ((p_t − p0)/p1)²)."""
    law = law_at(artery, tone)
    return law.largest_area * relative_compliance(law, transmural_mmHg)


@compiled
def wall_rate(artery: Artery, creep_area: float, target_area: float) -> float:
    """Rate of the creeping area [1/s] towards the static area."""
    return (target_area - creep_area) * (1.0 / artery.creep_time_s)


@compiled
def present_area(law: Law, creep_area: float, target_area: float) -> float:
    """Area now: the immediate share of the static area plus the creeping share."""
    return law.fast * target_area + (1.0 - law.fast) * creep_area


def pressure_of_area(artery: Artery, relative: float, tone: float) -> float:
    """Transmural pressure [mmHg] at which the area at rest is this share (0 … 1, open) of the largest at this tone."""
    unloaded, width = float(unloaded_pressure(artery, tone)), float(half_width(artery, tone))
    if artery.exponential_linear:
        from scipy.optimize import brentq

        reach: float = brentq(lambda y: 1.0 - (1.0 + y) * math.exp(-y) - relative, 0.0, 700.0, xtol=1e-12)
        return unloaded + SPREAD_BY_WIDTH * width * (reach - 1.0)
    law = law_at(artery, tone)
    turned = relative / law.scale - 0.5 * math.pi * law.below_mmHg
    side = law.below_mmHg if turned < 0.0 else law.above_mmHg
    return float(unloaded + side * math.tan(turned / side))


def linear_twin(artery: Artery, transmural_mmHg: float, tone: float) -> Linear:
    """Twin: `transmural_pressure` to `area`, at a steady transmural pressure and tone."""
    slope = float(static_compliance(artery, transmural_mmHg, tone))
    pole, fast = 1.0 / artery.creep_time_s, float(fast_share(artery, tone))
    return linear(-pole, pole * slope, 1.0 - fast, fast * slope, "transmural_pressure", "area", "creep_area")
