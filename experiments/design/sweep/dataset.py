"""A sweep as an xarray Dataset: labelled axes with units, every figure, the worst finger, and where it comes from."""
from __future__ import annotations

import json
from typing import Any

import numpy as np

from experiments.design.sweep.study import Study
from experiments.design.sweep.verdict import Limit, keeps
from experiments.work.output import plain

POINT, FINGER = "point", "finger"


def study_dataset(found: Study, limits: list[Limit], document: dict[str, Any]) -> Any:
    """The Dataset. A grid has one dimension an axis, a sample one over its points; a population adds one of fingers.

    `phase_margin_deg` and its like have a value for each finger, `worst_phase_margin_deg` the worst of them; with the
    rig's own finger only, there is no difference and only the former.
    """
    import xarray

    dimensions = (POINT,) if found.sampled else tuple(axis.name for axis in found.axes)
    coordinates: dict[str, Any] = {}
    for i, axis in enumerate(found.axes):
        values = [point[i] for point in found.points] if found.sampled else list(axis.values)
        about = {"units": axis.unit or "1", "long_name": axis.meaning}
        if axis.present is not None:
            about["present"] = str(axis.present) if axis.words else axis.present
        coordinates[axis.name] = (dimensions[:1] if found.sampled else (axis.name,), _plain(values), about)
    data: dict[str, Any] = {}
    people = (FINGER,) if found.fingers else ()
    size = (len(found.fingers),) if found.fingers else ()
    for k, (name, figure) in enumerate(found.case.figures.items()):
        about = {"units": figure.unit, "long_name": figure.what}
        data[name] = (dimensions + people, found.figures[:, :, k].reshape(found.shape + size), about)
        if found.fingers:
            about = {"units": figure.unit, "long_name": f"{figure.what}, worst finger"}
            data[f"worst_{name}"] = (dimensions, found.worst(name).reshape(found.shape), about)
    if found.fingers:
        coordinates[FINGER] = (FINGER, [finger.name for finger in found.fingers])
        names = np.array([finger.name for finger in found.fingers])[found.worst_finger()]
        data["worst_finger"] = (dimensions, names.reshape(found.shape), {"long_name": "finger of least modulus margin"})
    kept = keeps(found, limits).reshape(found.shape).astype(np.int8)
    words = ", ".join(limit.text for limit in limits)
    data["keeps_limits"] = (dimensions, kept, {"units": "1", "long_name": f"every finger is stable and keeps: {words}"})
    attributes = {"rig": found.case.source.tables.get("name", ""), "about": json.dumps(plain(document))}
    return xarray.Dataset(data, coordinates, attributes)


def _plain(values: list[Any]) -> Any:
    """Values as a NetCDF file takes them: numbers, or text for words and yes or no."""
    if any(isinstance(value, (str, bool)) for value in values):
        return np.array([str(value).lower() if isinstance(value, bool) else value for value in values])
    return np.array(values)
