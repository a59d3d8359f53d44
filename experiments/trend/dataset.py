"""Readings over hours as labelled data: figures and courses by scenario and schedule, a day on two fingers."""
from __future__ import annotations

from typing import Any

import numpy as np

from experiments.trend.study import Study
from experiments.trend.turns import WAYS
from experiments.trend.windows import Course

FIGURES = {  # field of a row: (unit, meaning)
    "lost_share": ("1", "share of time without waveform"), "gaps_per_h": ("1/h", "interruptions"),
    "availability": ("1", "share of time with an unbroken window behind it"),
    "level_drift_mmHg_h": ("mmHg/h", "slope of the mean pressure's error"),
    "output_rms_percent": ("%", "rms error of output after a reference"),
    "output_drift_percent_h": ("%/h", "slope of output's error"),
    "null_rms_percent": ("%", "rms error of a constant"),
}
PAIRS = {"systolic_mmHg": "mmHg", "arm_mean_mmHg": "mmHg", "diastolic_mmHg": "mmHg", "variation_percent": "points"}
COURSES = {"mean_mmHg": "mmHg", "true_mean_mmHg": "mmHg", "output_L_min": "L/min", "true_output_L_min": "L/min",
           "variation_percent": "%", "true_variation_percent": "%", "shown": "1"}


def trend_dataset(study: Study, attributes: dict[str, str]) -> Any:
    """An xarray Dataset over `scenario`, `schedule`, `time`; `minute` and `way` for two fingers; `failure`."""
    import xarray

    plan, names = study.plan, [s.name for s in study.plan.schedules]
    shape = len(plan.scenarios), len(names)
    where = ("scenario", "schedule")
    data: dict[str, Any] = {}
    for name, (unit, words) in FIGURES.items():
        values = np.array([getattr(row, name) for row in study.rows]).reshape(shape)
        data[name] = (where, values, {"units": unit, "long_name": words})
    for name, unit in PAIRS.items():
        for k, kind in enumerate(("bias", "sd")):
            values = np.array([getattr(row, name)[k] for row in study.rows]).reshape(shape)
            data[f"{name}_{kind}"] = (where, values, {"units": unit, "long_name": f"{kind} of the error"})
    longest: Course = max((row.course for row in study.rows), key=lambda c: len(c.time_s))
    for name, unit in COURSES.items():
        values = np.full((*shape, len(longest.time_s)), np.nan)
        for place, row in zip(np.ndindex(*shape), study.rows, strict=True):
            own = getattr(row.course, name)
            values[place][: len(own)] = own
        data[f"course_{name}"] = ((*where, "time"), values, {"units": unit, "long_name": "mean of a window"})
    errors = np.array([study.day.error_mmHg[way][0] for way in WAYS])
    data["turns_error"] = (("way", "hour"), errors, {"units": "mmHg", "long_name": "one pair of fingers"})
    coordinates: dict[str, Any] = {
        "scenario": list(plan.scenarios), "schedule": names, "time": ("time", longest.time_s, {"units": "s"}),
        "way": list(WAYS), "hour": ("hour", study.day.time_h, {"units": "h"})}
    if study.harms:
        changes = np.array([list(one.changes.values()) for one in study.harms])
        data["failure_change"] = (("failure", "reading"), changes, {"units": "see unit", "long_name": "largest change"})
        data["failure_warned"] = ("failure", np.array([one.warned_s for one in study.harms]), {"units": "s"})
        coordinates |= {"failure": [one.name for one in study.harms], "reading": list(study.harms[0].changes)}
    return xarray.Dataset(data, coordinates, attributes)
