"""A comparison of schedules as labelled data: every figure by schedule, scenario and finger, written as NetCDF."""
from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np

from experiments.calibration.schedule.measures import METRICS, BIN_s
from experiments.calibration.schedule.study import Study, about
from experiments.work.output import plain

RUNS = ("schedule", "scenario", "finger")


def study_dataset(study: Study, document: dict[str, Any]) -> Any:
    """An xarray Dataset over schedule, scenario and finger, with units; provenance and settings as attributes."""
    import xarray

    plan, figures = study.plan, study.figures()
    shape = figures.shape[:3]
    bins = math.ceil(plan.seconds / BIN_s)
    courses = np.full((*shape, 3, bins), np.nan, np.float32)
    ended = np.full(shape, "", object)
    names = sorted({name for runs in study.runs.values() for run in runs for name in run.failures})
    failures = np.zeros((*shape, len(names)), np.int32)
    for key in np.ndindex(*shape):
        run = study.run(*key)
        width = min(run.course.shape[1], bins)
        courses[key][:, :width] = run.course[:, :width]
        ended[key] = run.ended
        failures[key] = [run.failures.get(name, 0) for name in names]
    data: dict[str, Any] = {
        metric.name: (RUNS, figures[..., i], {"units": metric.unit, "long_name": metric.meaning})
        for i, metric in enumerate(METRICS)
    }
    data |= {
        "error": ((*RUNS, "time"), courses[..., 0, :],
                  {"units": "mmHg", "long_name": "mean-pressure error of beats against the ideal clamp"}),
        "shown": ((*RUNS, "time"), courses[..., 1, :], {"units": "1", "long_name": "share of time with a waveform"}),
        "tone": (("scenario", "finger", "time"), courses[0, ..., 2, :], {"units": "1", "long_name": "vasomotor tone"}),
        "ended": (RUNS, ended.astype(str), {"long_name": "how the run ended"}),
    }
    coordinates: dict[str, Any] = {
        "schedule": [s.name for s in study.schedules], "scenario": list(plan.scenarios),
        "finger": [f.name for f in study.fingers],
        "time": ("time", (np.arange(bins) + 0.5) * BIN_s, {"units": "s", "long_name": "middle of each bin"}),
    }
    if names:
        data["failure_count"] = ((*RUNS, "failure"), failures, {"units": "1", "long_name": "failures by name"})
        coordinates["failure"] = names
    attributes = {
        "title": "comparison of calibration schedules", "rig": study.rig.name, "run_seconds": plan.seconds,
        "settings": json.dumps(plain(about(plan)), ensure_ascii=False),
        "provenance": json.dumps(plain(document.get("provenance", {})), ensure_ascii=False),
        "caution": document.get("caution", ""), "steps_a_tick": study.steps,
    }
    return xarray.Dataset(data, coordinates, attributes)


def write_dataset(path: Path, study: Study, document: dict[str, Any]) -> None:
    """Classic NetCDF, which every reader knows."""
    study_dataset(study, document).to_netcdf(path, engine="scipy")
