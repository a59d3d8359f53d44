"""A budget as labelled data: what each natural step brings, derivatives, and Sobol indices."""
from __future__ import annotations

import math
from typing import Any

import numpy as np

from experiments.design.budget.cost import FIGURES as COSTS
from experiments.design.budget.cost import LoopCost
from experiments.design.budget.sensitivity import Budget
from experiments.design.budget.sobol import Study


def budget_dataset(found: Budget, study: Study | None, attributes: dict[str, str]) -> Any:
    """An xarray Dataset over `parameter` and, with Sobol indices, `spread` (the parameters that have one)."""
    import xarray

    def column(costs: list[LoopCost | None], name: str) -> Any:
        return np.array([math.nan if cost is None else getattr(cost, name) for cost in costs], float)

    effects = found.effects
    data: dict[str, Any] = {}
    for name, unit in COSTS.items():
        about = {"units": unit or "1"}
        data[f"present_{name}"] = ((), getattr(found.present, name), about | {"long_name": f"{name} as the rig is"})
        data[f"change_{name}"] = ("parameter", column([e.effect for e in effects], name),
                                  about | {"long_name": f"what the natural step does to {name}"})
        data[f"derivative_{name}"] = ("parameter", column([e.slope for e in effects], name),
                                      {"units": f"{unit or '1'} per unit of the parameter",
                                       "long_name": f"derivative of {name}"})
    coordinates: dict[str, Any] = {
        "parameter": [e.name for e in effects], "unit": ("parameter", [e.unit or "1" for e in effects]),
        "step": ("parameter", [e.words for e in effects]),
    }
    if study is not None:
        coordinates["spread"] = [s.name for s in study.spreads]
        for name, indices in study.indices.items():
            for kind, values in indices._asdict().items():
                data[f"sobol_{kind}_{name}"] = ("spread", values, {"units": "1", "long_name": f"Sobol index, {kind}"})
    return xarray.Dataset(data, coordinates, attributes | {"arterial_mmHg": str(found.arterial_mmHg)})
