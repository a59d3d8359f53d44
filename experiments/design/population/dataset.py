"""A rig on many fingers as labelled data."""
from __future__ import annotations

from typing import Any

from experiments.design.population.study import Judged, column, kept


def population_dataset(found: Judged, attributes: dict[str, Any]) -> Any:
    """Every figure over `finger`, on drawn rigs where there are any and on the rig as it is beside."""
    import xarray

    data: dict[str, Any] = {"kept": ("finger", kept(found, found.judged).astype(float),
                                     {"units": "1", "long_name": "1 when every limit is kept"})}
    for name, figure in found.figures.items():
        told = {"units": figure.unit, "long_name": figure.what}
        data[name] = ("finger", column(found, found.judged, name), told)
        if found.drawn is not None:
            data[f"{name}_as_found"] = ("finger", column(found, found.as_found, name),
                                        told | {"long_name": f"{figure.what}, on the rig as it is"})
    return xarray.Dataset(data, {"finger": [finger.name for finger in found.plan.fingers]},
                          attributes | {"rig": found.plan.source.tables.get("name", "")})
