"""Agreement as labelled data: the pairs, and the figures as scalars."""
from __future__ import annotations

from typing import Any

from experiments.readings.agreement.study import Agreed


def agree_dataset(found: Agreed, attributes: dict[str, str]) -> Any:
    """An xarray Dataset over `pair`; figures have no dimension."""
    import xarray

    unit = found.question.unit or "1"
    data: dict[str, Any] = {
        "tested": ("pair", found.pairs.tested, {"units": unit, "long_name": found.names[0]}),
        "reference": ("pair", found.pairs.reference, {"units": unit, "long_name": found.names[1]}),
        "subject": ("pair", found.pairs.subject, {"units": "1", "long_name": "number of the subject"}),
    }
    for limits in (found.plain, found.repeated):
        for name in ("bias", "sd", "lower", "upper"):
            data[f"{limits.method}_{name}"] = ((), getattr(limits, name), {
                "units": unit, "long_name": f"{name}, limits of agreement, {limits.method}"})
    data["percentage_error"] = ((), found.percentage.error, {"units": "1", "long_name": "1.96 SD / mean reference"})
    data["null_percentage_error"] = ((), found.percentage.null, {"units": "1", "long_name": "the same of a constant"})
    data["concordance"] = ((), found.trending.concordance, {"units": "1", "long_name": "four-quadrant concordance"})
    data["polar_angle"] = ((), found.trending.angle_deg, {"units": "degree", "long_name": "mean polar angle"})
    return xarray.Dataset(data, attrs=attributes)
