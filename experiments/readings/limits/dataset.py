"""Requirements as labelled data."""
from __future__ import annotations

from typing import Any

import numpy as np

from experiments.readings.limits.study import Required

COLUMNS = {"limit": "see unit", "bandwidth_Hz": "Hz", "damping": "1", "level_mmHg": "mmHg", "height_cm": "cm",
           "drift_mmHg_h": "mmHg/h", "noise_mmHg": "mmHg"}


def require_dataset(found: Required, attributes: dict[str, str]) -> Any:
    """An xarray Dataset over `limited` (readings with a limit) and `reading` (what the rig does to each)."""
    import xarray

    data: dict[str, Any] = {
        name: ("limited", np.array([getattr(row, name) for row in found.rows]),
               {"units": unit, "long_name": f"{name.replace('_', ' ')} that the limit asks for"})
        for name, unit in COLUMNS.items()
    }
    for name in ("by_loop", "by_level"):
        data[name] = ("reading", np.array([getattr(one, name) for one in found.worth]),
                      {"units": "see unit", "long_name": f"error {name.replace('_', ' ')}, 95 % of states"})
    coordinates = {"limited": [row.reading for row in found.rows], "reading": [one.reading for one in found.worth],
                   "unit": ("reading", [one.unit for one in found.worth])}
    return xarray.Dataset(data, coordinates, attributes)
