"""A raised hand as labelled data: height on every tick, pressures by beat."""
from __future__ import annotations

from typing import Any

import numpy as np

from calibrate.height import NotZeroed
from experiments.calibration.height.study import HeightStudy


def height_dataset(study: HeightStudy | NotZeroed, attributes: dict[str, str]) -> Any:
    """An xarray Dataset over `time_s` and `beat_s`, with units; without variables when the sensor was not zeroed."""
    import xarray

    if isinstance(study, NotZeroed):
        return xarray.Dataset(attrs=attributes | {"not_zeroed": study.message})
    data = {
        "height_m": ("time_s", study.height_m, {"units": "m", "long_name": "height of the cuff above the heart"}),
        "sensed_m": ("time_s", study.sensed_m, {"units": "m", "long_name": "the same as the sensor says, zeroed"}),
        "heart_mmHg": ("beat_s", study.heart_mmHg, {"units": "mmHg", "long_name": "mean of an ideal clamp at heart"}),
        "reading_mmHg": ("beat_s", study.reading_mmHg, {"units": "mmHg", "long_name": "mean cuff pressure as read"}),
        "corrected_mmHg": ("beat_s", study.corrected_mmHg, {"units": "mmHg", "long_name": "the same, corrected"}),
    }
    time = np.arange(len(study.height_m)) * study.period_s
    coordinates = {"time_s": ("time_s", time, {"units": "s"}),
                   "beat_s": ("beat_s", study.beat_s, {"units": "s", "long_name": "middle of each beat"})}
    return xarray.Dataset(data, coordinates, attributes)
