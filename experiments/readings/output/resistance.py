"""Systemic vascular resistance, and the units of clinics and of SI.

R = (mean arterial − central venous pressure)/output. 1 mmHg min/L = 79.9932 dyn s/cm⁵ = 7.99932 MPa s/m³. The venous
pressure is entered or supposed, and carries its interval: 5 mmHg are some 6 % of a resistance.
"""
from __future__ import annotations

import math
from typing import NamedTuple

from plant.units import PASCAL_PER_MMHG

DYNE_PER_mmHg_min_L = PASCAL_PER_MMHG * 10.0 * 60.0 / 1000.0  # dyn s cm⁻⁵
USUAL_VENOUS_mmHg, USUAL_VENOUS_SD_mmHg = 5.0, 3.0  # supposed where nobody entered one (invented spread)


class Resistance(NamedTuple):
    """One value in three units, with its relative SD."""

    dyn_s_cm5: float
    mmHg_s_mL: float
    MPa_s_m3: float
    relative_sd: float


def resistance(
    mean_mmHg: float, output_L_min: float, mean_sd_mmHg: float = 0.0, output_sd: float = 0.0,
    venous_mmHg: float = USUAL_VENOUS_mmHg, venous_sd_mmHg: float = USUAL_VENOUS_SD_mmHg,
) -> Resistance:
    """Resistance of a mean pressure and an output; `output_sd` is relative, the other SDs are in mmHg."""
    drop = mean_mmHg - venous_mmHg
    plain = drop / output_L_min  # mmHg min/L
    dyne = DYNE_PER_mmHg_min_L * plain
    spread = math.hypot(math.hypot(mean_sd_mmHg, venous_sd_mmHg) / drop, output_sd)
    return Resistance(dyne, 0.06 * plain, 0.1 * dyne, spread)
