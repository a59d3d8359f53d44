"""A rig's parameters as labelled data."""
from __future__ import annotations

import math
from typing import Any

from experiments.rigs.rig import Rig
from experiments.rigs.table import rig_parts
from plant.declare import declared


def rig_dataset(rig: Rig, attributes: dict[str, str]) -> Any:
    """An xarray Dataset over `parameter` (dotted names): value, bounds, unit, meaning and source; numbers only."""
    import xarray

    rows = [(f"{table}.{p.name}", getattr(part, p.name), p) for table, part in rig_parts(rig).items()
            for p in declared(type(part)) if isinstance(getattr(part, p.name), (int, float))]
    data: dict[str, Any] = {
        "value": ("parameter", [float(value) for _, value, _ in rows]),
        "low": ("parameter", [math.nan if p.low is None else float(p.low) for _, _, p in rows]),
        "high": ("parameter", [math.nan if p.high is None else float(p.high) for _, _, p in rows]),
        "unit": ("parameter", [p.unit or "1" for _, _, p in rows]),
        "meaning": ("parameter", [p.meaning for _, _, p in rows]),
        "source": ("parameter", [p.source for _, _, p in rows]),
    }
    return xarray.Dataset(data, {"parameter": [name for name, _, _ in rows]}, attributes)
