"""A tuning as labelled data: every setting's error and margins, the trade-off, and the fingers under the tuned one."""
from __future__ import annotations

from typing import Any

import numpy as np

from experiments.design.tune.study import Tuning
from experiments.design.tune.text import worst_margin
from experiments.rigs.requirements import FIGURES


def tuning_dataset(tuning: Tuning, attributes: dict[str, str]) -> Any:
    """An xarray Dataset over `setting`, `finger` and `largest_peak`, with units."""
    import xarray

    rows = [tuning.tuned, tuning.shipped, *tuning.published,
            *(row._replace(name=f"{row.name}, scaled") for row in tuning.scaled), *tuning.structures]
    data: dict[str, Any] = {
        "rms_mmHg": ("setting", [row.rms_mmHg for row in rows], {"units": "mmHg", "long_name": "error, worst finger"}),
        "factor": ("setting", [row.factor for row in rows], {"units": "1", "long_name": "on the rule's own gain"}),
        "keeps_limits": ("setting", np.array([row.kept for row in rows], np.int8), {"units": "1"}),
        "finger_rms_mmHg": ("finger", tuning.tuned.found.rms_mmHg,
                            {"units": "mmHg", "long_name": "error with the tuned setting"}),
    }
    for name in tuning.tuned.found.margins:
        data[name] = ("setting", [worst_margin(tuning, row, name) for row in rows],
                      {"units": FIGURES[name][0] or "1", "long_name": FIGURES[name][1]})
    for name in ("tuned_mmHg", "limit_mmHg", "delay_bound_mmHg"):
        data[name] = ("largest_peak", [getattr(point, name) for point in tuning.trade_off], {"units": "mmHg"})
    coordinates = {
        "setting": [row.name for row in rows], "finger": [case.finger.name for case in tuning.people.cases],
        "largest_peak": ("largest_peak", [point.largest_peak for point in tuning.trade_off],
                         {"units": "1", "long_name": "bound on the sensitivity peak Ms"}),
    }
    return xarray.Dataset(data, coordinates, attributes)
