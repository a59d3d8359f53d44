"""The artery's law at rest with the clamp on it: what a wrong set point slides along."""
from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from experiments.bench.answers.strips import Target
from experiments.rigs.rig import Rig
from experiments.simulation.simulate import Plan, held_offset
from plant.finger.artery import half_width, static_area, static_compliance, unloaded_pressure

REACH_mmHg = 80.0  # of the curve, either way of the unloaded pressure
POINTS = 121
Curves = dict[str, NDArray[Any]]


def offset_of(rig: Rig, target: Target) -> float:
    """Transmural offset [mmHg] of what is held from the unloaded volume. Raises InputError for one out of reach."""
    plan = Plan(offset_mmHg=target.offset_mmHg, set_point_error=target.volume_error)
    return held_offset(plan, rig, rig.tone.level)


def law_answer(rig: Rig, target: Target) -> tuple[dict[str, Any], Curves]:
    """Where the clamp is held on the static law at the tone of rest, and the law itself."""
    artery, tone = rig.plant.artery, rig.tone.level
    unloaded, held = float(unloaded_pressure(artery, tone)), offset_of(rig, target)
    transmural = unloaded + np.linspace(-REACH_mmHg, REACH_mmHg, POINTS)
    area = np.array([static_area(artery, p, tone) for p in transmural])
    at_held, at_peak = (float(static_compliance(artery, unloaded + x, tone)) for x in (held, 0.0))
    head = {
        "unloaded_mmHg": unloaded, "held_mmHg": unloaded + held, "offset_mmHg": held,
        "volume_error": target.volume_error,
        "held_area": float(static_area(artery, unloaded + held, tone)),
        "unloaded_area": float(static_area(artery, unloaded, tone)),
        "half_width_mmHg": float(half_width(artery, tone)), "compliance_share": at_held / at_peak,
    }
    return head, {"law_mmHg": transmural, "law_area": area}
