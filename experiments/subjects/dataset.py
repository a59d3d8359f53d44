"""Virtual fingers as labelled data."""
from __future__ import annotations

from typing import Any

from experiments.subjects.finger import PARTS, Finger
from plant.declare import declared


def fingers_dataset(people: list[Finger], attributes: dict[str, str]) -> Any:
    """An xarray Dataset over `finger`: a variable for every parameter, as in `artery.creep_time_s`, with its unit."""
    import xarray

    data: dict[str, Any] = {
        f"{part}.{p.name}": ("finger", [float(getattr(getattr(finger, part), p.name)) for finger in people],
                             {"units": p.unit or "1", "long_name": p.meaning})
        for part, kind in PARTS.items() for p in declared(kind)
    }
    data |= {"group": ("finger", [finger.group for finger in people]),
             "seed": ("finger", [finger.seed for finger in people]),
             "defect": ("finger", [finger.defect for finger in people])}
    return xarray.Dataset(data, {"finger": [finger.name for finger in people]}, attributes)
