"""One search as labelled data: every tick, and its steps."""
from __future__ import annotations

import json
from typing import Any

import numpy as np

from experiments.calibration.search.trial import Trial
from experiments.simulation.coupled import CHANNELS
from experiments.simulation.trace_file import UNITS
from experiments.work.output import plain


def trial_dataset(trial: Trial, document: dict[str, Any]) -> Any:
    """An xarray Dataset: every channel over `time_s`, the figures of the search as single numbers, all with units."""
    import xarray

    rows, calibration = trial.session.rows, trial.calibration
    data: dict[str, Any] = {name: ("time_s", rows[:, i], {"units": UNITS[name]}) for i, name in enumerate(CHANNELS)}
    for name, unit in (("error_mmHg", "mmHg"), ("slope_ratio", "1"), ("first_waveform_s", "s"),
                       ("first_clamp_s", "s"), ("search_s", "s"),
                       ("highest_mmHg", "mmHg")):
        data[f"search_{name}" if name in CHANNELS else name] = ((), getattr(calibration, name), {"units": unit})
    time = np.arange(len(rows)) * trial.period_s
    attributes = {"rig": trial.rig.name, "strategy": trial.strategy.name, "finger_or_record": trial.name,
                  "about": json.dumps(plain(document), ensure_ascii=False)}
    return xarray.Dataset(data, {"time_s": ("time_s", time, {"units": "s"})}, attributes)
