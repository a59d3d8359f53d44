"""Rows and summaries of schedules, made by hand."""
import math

import numpy as np

from experiments.calibration.schedule.measures import METRIC, METRICS
from experiments.calibration.schedule.piece import Row
from experiments.calibration.schedule.summary import Summary, summary_of

NAN = math.nan


def made(failures: dict[str, int] | None = None, **figures: float) -> Row:
    values = np.full(len(METRICS), NAN)
    for name, value in ({"beats": 100.0, "seconds": 1800.0, "interruptions": 0.0} | figures).items():
        values[METRIC[name]] = value
    return Row(values, np.zeros((3, 4), np.float32), "in time", failures or {}, (), ())


def row(scenario: str, schedule: str, rms: float, lost: float) -> Summary:
    return summary_of(scenario, schedule, [made(mean_rms_ideal=rms, lost_share=lost)])
