"""Segment of artery under the cuff: blood that has to leave it must do so along its axis.

Inside a uniformly compressed length L neither arterial nor cuff pressure acts on the blood; both enter at its ends, as
e = p_a − p_ext behind the characteristic impedance of the stiffer artery outside. With u = p − p_ext, half a segment
(its ends alike), f = flow/(A_max L/2) and h = L/2, the exact line is
    φ c ∂u/∂t + ∂Q/∂x = 0,   ρχ/A ∂Q/∂t + R Q + ∂u/∂x = 0        (Womersley 1955; Bramwell & Hill 1922 for c)
    ū/e = (sinh γw/γw) / (cosh γh + (Z_e/Z_c) sinh γh)            over the half-window w of the light
and the reduced one here, which matches its terms in γ²h² and Z_e Y h (1 + ⅓γ²h² …):
    (1−m) C(u₁) du₁/dt = f_e − f,   M df/dt = u₁ − u₂ − R f,   m C(u₂) du₂/dt = f,   f_e = (e − u₁)/ρ_e
    κ = ½ − b²/6,  m = 1/(3κ),  ℓ = κ/m,  b = w/h
    ρ_e = ρ c_e h/a_e,   M = 4/3 ρ h² ℓ/a₀,   R = 1.06 · 8πμ h² ℓ/(A_max a₀²)
u₂ is the transmural pressure that the area under the light follows; at rest u₁ = u₂ = e. C = φ c, with a floor far from
the peak, where no loop works: without it the emptied cuff makes the equations stiff.
"""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

from plant.declare import compiled, quantity
from plant.finger.artery import Artery, Law, compliance_parts, law_at, relative_area, relative_compliance
from plant.linear import Linear, linear
from plant.units import PASCAL_PER_MMHG, BLOOD_DENSITY_kg_m3

VISCOSITY_Pa_s = 3.5e-3  # of whole blood at high shear (from memory)
INERTANCE, RESISTANCE = 4.0 / 3.0, 1.06  # of a Womersley line against plug and Poiseuille flow at α of 1–4
OUTER_AREA = 0.95  # of the artery outside the cuff, share of the largest


class Segment(NamedTuple):
    """The compressed length of artery, and what it is fed through."""

    length_mm: Annotated[
        float, quantity("mm", 4, 40, "compressed length, shorter than the bladder by its edges (L)",
                        "7.3, 11.5, 16.2 under bladders of 10, 15, 20 mm: strip load at 3.5 mm depth, estimate")
    ] = 11.0
    window_mm: Annotated[
        float, quantity("mm", 0.1, 20, "half-length that the light sees (w)", "invented; little depends on it")
    ] = 2.0
    diameter_mm: Annotated[
        float, quantity("mm", 0.3, 4, "inner diameter at the largest area", "0.8–1.8 along a finger, from memory")
    ] = 1.2
    outer_speed_m_s: Annotated[
        float, quantity("m/s", 2, 30, "pulse wave speed outside the cuff (c_e)", "6–10, muscular arteries, from memory")
    ] = 8.0
    floor_ms: Annotated[
        float, quantity("ms", 0.05, 2, "time constant that an end keeps far from the peak", "numerical: keeps 4 steps")
    ] = 0.3


class SegmentState(NamedTuple):
    """Half a segment, from its end to the middle."""

    edge_mmHg: float  # transmural pressure near the end (u₁)
    flow_per_s: float  # towards the middle, in half segments at the largest area (f)
    middle_mmHg: float  # transmural pressure under the light (u₂)


class SegmentLine(NamedTuple):
    """Coefficients of the reduced line at one tone, and the law of its wall: what a tick works out once."""

    law: Law
    per_source: float  # 1/ρ_e [1/(mmHg·s)]
    per_inertance: float  # 1/M [1/(mmHg·s²)]
    resistance: float  # R [mmHg·s]
    per_end: float  # 1/(1 − m)
    per_middle: float  # 1/m
    floor: float  # least C [1/mmHg]
    lift: float  # C − floor over c: φ where the floor is nothing


@compiled
def segment_line(segment: Segment, artery: Artery, tone: float) -> SegmentLine:
    """The reduced line's coefficients at a tone (Womersley's line, matched at low frequency)."""
    law = law_at(artery, tone)
    half = 0.0005 * segment.length_mm
    share = min(0.001 * segment.window_mm * (1.0 / half), 0.9)
    kappa = 0.5 - share * share * (1.0 / 6.0)
    middle = 1.0 / (3.0 * kappa)
    lump = kappa * (1.0 / middle)
    at_peak = relative_area(law, law.unloaded_mmHg)
    area = 0.25e-6 * math.pi * segment.diameter_mm * segment.diameter_mm
    source = BLOOD_DENSITY_kg_m3 * segment.outer_speed_m_s * half * (1.0 / (OUTER_AREA * PASCAL_PER_MMHG))
    inertance = INERTANCE * BLOOD_DENSITY_kg_m3 * half * half * lump * (1.0 / (at_peak * PASCAL_PER_MMHG))
    loss = RESISTANCE * 8.0 * math.pi * VISCOSITY_Pa_s * half * half * lump
    resistance = loss * (1.0 / (area * at_peak * at_peak * PASCAL_PER_MMHG))
    floor = 0.001 * segment.floor_ms * (1.0 / (source * (1.0 - middle)))
    peak = law.fast * relative_compliance(law, law.unloaded_mmHg)
    lift = law.fast * ((max(peak, floor) - floor) * (1.0 / peak))
    return SegmentLine(law, 1.0 / source, 1.0 / inertance, resistance, 1.0 / (1.0 - middle), 1.0 / middle, floor, lift)


@compiled
def per_storage(line: SegmentLine, transmural_mmHg: float) -> float:
    """1/C(u) [mmHg]; C is φ c of the law at the peak, and never below the floor away from it."""
    above, below = compliance_parts(line.law, transmural_mmHg)
    return below / (line.floor * below + line.lift * above)


@compiled
def segment_rates(line: SegmentLine, state: SegmentState, driving_mmHg: float) -> SegmentState:
    """Rates of the state [1/s] under e = arterial less external pressure [mmHg]."""
    entering = (driving_mmHg - state.edge_mmHg) * line.per_source
    return SegmentState(
        (entering - state.flow_per_s) * line.per_end * per_storage(line, state.edge_mmHg),
        (state.edge_mmHg - state.middle_mmHg - line.resistance * state.flow_per_s) * line.per_inertance,
        state.flow_per_s * line.per_middle * per_storage(line, state.middle_mmHg),
    )


def segment_at_rest(driving_mmHg: float) -> SegmentState:
    """No flow: the whole segment is at e."""
    return SegmentState(driving_mmHg, 0.0, driving_mmHg)


def linear_twin(segment: Segment, artery: Artery, transmural_mmHg: float, tone: float) -> Linear:
    """Twin: (`arterial_pressure`, `external_pressure`) to `transmural_pressure` under the light, at rest."""
    line = segment_line(segment, artery, tone)
    pliant = float(per_storage(line, transmural_mmHg))
    edge, middle, drive = line.per_end * pliant, line.per_middle * pliant, line.per_source
    return linear(
        [[-edge * drive, -edge, 0.0], [line.per_inertance, -line.resistance * line.per_inertance, -line.per_inertance],
         [0.0, middle, 0.0]],
        [[edge * drive, -edge * drive], [0.0, 0.0], [0.0, 0.0]], [[0.0, 0.0, 1.0]], [[0.0, 0.0]],
        "arterial_pressure external_pressure", "transmural_pressure", "edge_transmural axial_flow middle_transmural",
    )
