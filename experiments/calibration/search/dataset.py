"""A study of searches as labelled data: every row, by strategy and finger, with units."""
from __future__ import annotations

import json
from typing import Any

import numpy as np

from calibrate.protocol import FAILURES
from experiments.calibration.search.piece import FOUND
from experiments.calibration.search.study import Study
from experiments.work.output import plain

OUTCOMES = (FOUND, *FAILURES)
BY_STRATEGY = {  # of a row: unit, what it is
    "error_mmHg": ("mmHg", "mean transmural pressure less that of peak compliance, in the clamp at the set point"),
    "sd_mmHg": ("mmHg", "standard deviation of that error as the strategy states it"),
    "set_point": ("1", "light held, share of full scale"),
    "cuff_mmHg": ("mmHg", "mean cuff pressure at which the strategy saw it"),
    "light_slope": ("1/mmHg", "light per cuff pressure that the strategy found"),
    "slope_ratio": ("1", "the same over the true one at mean pressure and resting tone"),
    "clamp_slope_ratio": ("1", "the same over the mean one in the clamp that follows"),
    "first_waveform_s": ("s", "from the empty cuff to the first waveform that is shown"),
    "first_clamp_s": ("s", "from the empty cuff to the first tick in the clamp, shown or not"),
    "search_s": ("s", "from the empty cuff to the outcome"),
    "highest_mmHg": ("mmHg", "highest cuff pressure"),
    "crossover_Hz": ("Hz", "crossover with the light slope found"),
    "stable": ("1", "whether that loop is stable"),
}
BY_FINGER = {
    "true_crossover_Hz": ("Hz", "crossover with the true light slope"),
    "own_crossover_Hz": ("Hz", "crossover with the light slope of the rig's own finger"),
    "middle_crossover_Hz": ("Hz", "crossover with the light slope of the middle finger"),
    "true_stable": ("1", "whether that loop is stable"), "own_stable": ("1", "whether that loop is stable"),
    "middle_stable": ("1", "whether that loop is stable"),
}


def study_dataset(study: Study, document: dict[str, Any]) -> Any:
    """All rows as an xarray Dataset over `strategy` and `finger`, with units, meanings and provenance."""
    import xarray

    plan, rows = study
    strategies, fingers = (list(dict.fromkeys(getattr(r, name) for r in rows)) for name in ("strategy", "finger"))
    at = {(r.strategy, r.finger): r for r in rows}
    first = {f: at[strategies[0], f] for f in fingers}

    def column(value: Any) -> Any:
        return np.asarray(value, np.int8) if np.asarray(value).dtype == bool else np.asarray(value, float)

    data: dict[str, Any] = {
        name: (("strategy", "finger"), column([[getattr(at[s, f], name) for f in fingers] for s in strategies]),
               {"units": unit, "long_name": meaning})
        for name, (unit, meaning) in BY_STRATEGY.items()
    }
    data |= {
        name: (("finger",), column([getattr(first[f], name) for f in fingers]), {"units": unit, "long_name": meaning})
        for name, (unit, meaning) in BY_FINGER.items()
    }
    codes = [[OUTCOMES.index(at[s, f].outcome) for f in fingers] for s in strategies]
    data["outcome"] = (("strategy", "finger"), np.asarray(codes, np.int8), {
        "long_name": "set point found, or why not", "flag_values": np.arange(len(OUTCOMES), dtype=np.int8),
        "flag_meanings": " ".join(o.replace(" ", "_") for o in OUTCOMES)})
    coordinates = {"strategy": strategies, "finger": fingers,
                   "defect": ("finger", [first[f].defect for f in fingers], {"long_name": "how a finger was spoiled"})}
    attributes = {"title": "set-point searches over virtual fingers", "rig": plan.rig,
                  "about": json.dumps(plain(document), ensure_ascii=False)}
    return xarray.Dataset(data, coordinates, attributes)
