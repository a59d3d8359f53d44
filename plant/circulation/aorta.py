"""The arctangent law of the aorta's cross-section, by age and sex: what is usual of compliance, impedance, velocity.

    A(P) = A_m (1/2 + atan((P − P_0)/P_1)/π)      C′ = dA/dP      Z_c = √(ρ/(A C′))      c = √(A/(ρ C′))
Law: Langewouters, Wesseling & Goedhard (J Biomech 1984;17:425), 65 human aortas, static. Parameters by age and sex are
second-hand regressions on them. Isolated thoracic segments: their impedance of 0.1 mmHg s/mL is twice to three times
that of the living arterial system, so that a change with pressure is worth more than the value.
"""
from __future__ import annotations

import math
from typing import Annotated, NamedTuple

from plant.circulation.line import DENSITY_kg_m3
from plant.declare import quantity
from plant.units import PASCAL_PER_MMHG

YOUNGEST_years, OLDEST_years = 18.0, 75.0  # P_0 and P_1 are straight lines in age; beyond they would lose their sense


class AortaLaw(NamedTuple):
    """Parameters of one aorta."""

    largest_cm2: Annotated[
        float, quantity("cm2", 1, 12, "cross-section at high pressure, A_m", "5.62 m, 4.12 f")
    ] = 5.62
    middle_mmHg: Annotated[
        float, quantity("mmHg", -20, 90, "pressure of the greatest compliance, P_0", "76 − 0.89 age m, 72 f")
    ] = 40.4
    width_mmHg: Annotated[float, quantity("mmHg", 10, 80, "half width of the law, P_1", "57 − 0.44 age")] = 39.4


class Aorta(NamedTuple):
    """An aorta at one pressure, per length where it says so."""

    area_cm2: float
    compliance_cm2_mmHg: float  # mL/mmHg per cm
    impedance_mmHg_s_mL: float
    velocity_m_s: float


def usual_aorta(age_years: float, female: bool) -> AortaLaw:
    """What is usual at that age."""
    age = min(max(age_years, YOUNGEST_years), OLDEST_years)
    return AortaLaw(4.12 if female else 5.62, (72.0 if female else 76.0) - 0.89 * age, 57.0 - 0.44 * age)


def aorta_at(law: AortaLaw, pressure_mmHg: float) -> Aorta:
    """Cross-section and what follows from it."""
    x = (pressure_mmHg - law.middle_mmHg) / law.width_mmHg
    area = law.largest_cm2 * (0.5 + math.atan(x) / math.pi)
    compliance = law.largest_cm2 / (math.pi * law.width_mmHg * (1.0 + x * x))
    per_pascal = compliance * 1e-4 / PASCAL_PER_MMHG  # m²/Pa
    impedance = math.sqrt(DENSITY_kg_m3 / (area * 1e-4 * per_pascal))  # Pa s/m³
    velocity = math.sqrt(area * 1e-4 / (DENSITY_kg_m3 * per_pascal))
    return Aorta(area, compliance, impedance * 1e-6 / PASCAL_PER_MMHG, velocity)
