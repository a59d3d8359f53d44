"""Static laws of a plant that bend away from their tangents at an operating point: area, and what cuff and artery hold.

    area            static law of the artery; a share φ of it is immediate, all of it in the mean
    light           e^{−depth} in the area: told as the area that the tangent would need
    cuff            ∫ (1/s(p) − 1/s₀) dp,  s the rate of its pressure per flow into it
    artery's ends   ∫ (C(u) − C₀) du of the segment under the cuff
"""
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from plant.assembly import Plant
from plant.finger.artery import fast_share, static_area, static_compliance
from plant.finger.light import light_intensity, light_per_area
from plant.finger.segment import per_storage, segment_line
from plant.operating_point import OperatingPoint
from plant.parts import line_end_volume
from plant.pneumatics.cuff import per_inflow

Samples = NDArray[np.float64]
GRID_mmHg = np.linspace(-200.0, 200.0, 1601)  # about the point; beyond, laws stay at their ends


class Curves(NamedTuple):
    """The laws on GRID_mmHg."""

    area: Samples  # less that of the point
    compliance: float  # slope of `area` at 0 [1/mmHg]
    fast: float  # share φ
    depth: float  # optical depth per area [1]
    cuff_mL: Samples
    artery_s: Samples
    shares: tuple[float, float]  # of the segment: its end, its middle


def curves(plant: Plant, point: OperatingPoint) -> Curves:
    """The laws about an operating point."""
    tone = point.around.tone
    rest = point.around.arterial_mmHg - point.state.external_mmHg
    area = np.array([static_area(plant.artery, rest + u, tone) for u in GRID_mmHg]) - point.area
    line = segment_line(plant.segment, plant.artery, tone)
    ends = line_end_volume(plant.tube)
    held = np.array([1.0 / per_inflow(plant.cuff, plant.air, point.state.cuff_mmHg + p, ends) for p in GRID_mmHg])
    stored = np.array([1.0 / per_storage(line, rest + u) for u in GRID_mmHg])
    lit = float(light_intensity(plant.light, point.area, point.state.venous_volume, 0.0))
    depth = float(light_per_area(plant.light, point.area, point.state.venous_volume)) / lit
    return Curves(area, float(static_compliance(plant.artery, rest, tone)), float(fast_share(plant.artery, tone)),
                  depth, above_tangent(held), above_tangent(stored), (1.0 / line.per_end, 1.0 / line.per_middle))


def above_tangent(slope: Samples) -> Samples:
    """Integral of a slope on GRID_mmHg from 0 on, less that of the slope at 0."""
    bent = slope - slope[len(slope) // 2]
    step = GRID_mmHg[1] - GRID_mmHg[0]
    whole = np.concatenate([[0.0], np.cumsum(0.5 * step * (bent[1:] + bent[:-1]))])
    return np.asarray(whole - whole[len(slope) // 2])
