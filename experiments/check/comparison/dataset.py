"""Rigs side by side as labelled data."""
from __future__ import annotations

from typing import Any

import numpy as np

from experiments.check.comparison.study import Comparison
from experiments.check.comparison.text import label_of
from experiments.check.dataset import figures_of, unit_of


def comparison_dataset(found: Comparison, attributes: dict[str, str]) -> Any:
    """An xarray Dataset over `rig`: every figure of the verdict, phase over `part`, and the verdict itself."""
    import xarray

    figures = [figures_of(check) for check in found.checks]
    data: dict[str, Any] = {
        name: ("rig", [some.get(name, np.nan) for some in figures],
               {"units": unit_of(name), "long_name": label_of(name)})
        for name in dict.fromkeys(name for some in figures for name in some)
    }
    costs = [{row.part: row.phase_deg for row in check.budget} for check in found.checks]
    parts = list(dict.fromkeys(part for some in costs for part in some))
    data["phase_deg"] = (("rig", "part"), np.array([[some.get(part, np.nan) for part in parts] for some in costs],
                                                   float).reshape(len(costs), len(parts)),
                         {"units": "°", "long_name": "phase at the crossover of the worst loop"})
    data["passed"] = ("rig", np.array([check.passed for check in found.checks], np.int8), {"units": "1"})
    return xarray.Dataset(data, {"rig": list(found.names), "part": parts}, attributes)
