"""Readings as labelled data: over beats, and means with intervals over readings."""
from __future__ import annotations

from typing import Any

import numpy as np

from experiments.readings.chain.chain import Readings
from experiments.readings.chain.text import unit_of
from experiments.readings.chain.truth import Truth


def readings_dataset(found: Readings, truth: Truth | None, attributes: dict[str, str]) -> Any:
    """An xarray Dataset over `beat` and `reading`."""
    import xarray

    beats = found.beats
    columns = {
        "onset_s": (beats.onset_s, "s", "onset at the finger"),
        "interval_s": (beats.interval_s, "s", "to the next onset"),
        "finger_systolic_mmHg": (beats.systolic_mmHg, "mmHg", "at heart level"),
        "finger_mean_mmHg": (beats.mean_mmHg, "mmHg", "at heart level"),
        "finger_diastolic_mmHg": (beats.diastolic_mmHg, "mmHg", "at heart level"),
        "systolic_mmHg": (found.arm_mmHg[:, 0], "mmHg", "upper arm"),
        "mean_mmHg": (found.arm_mmHg[:, 1], "mmHg", "upper arm"),
        "diastolic_mmHg": (found.arm_mmHg[:, 2], "mmHg", "upper arm"),
        "stroke_mL": (found.stroke_mL, "mL", "stroke volume"), "output_L_min": (found.output_L_min, "L/min", "output"),
        "reasons": (beats.reasons, "1", "bits of reasons not to count"),
    }
    data: dict[str, Any] = {name: ("beat", values, {"units": unit, "long_name": words})
                            for name, (values, unit, words) in columns.items()}
    if truth is not None:
        data["true_stroke_mL"] = ("beat", truth.stroke_mL, {"units": "mL", "long_name": "true stroke volume"})
    names = list(found.summary)
    for field in ("value", "low", "high"):
        values = np.array([getattr(one, field) for one in found.summary.values()])
        data[field] = ("reading", values, {"units": "see unit", "long_name": f"{field} of the mean, 90 % interval"})
    coordinates = {"reading": names, "unit": ("reading", [unit_of(name) for name in names])}
    return xarray.Dataset(data, coordinates, attributes)
