"""A comparison of schedules summed up: one summary for each scenario and schedule, and which are on the frontier."""
from __future__ import annotations

import math
from collections import Counter
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.calibration.schedule.measures import METRIC, METRICS
from experiments.calibration.schedule.piece import IN_TIME, Row
from experiments.calibration.schedule.study import Study

TOGETHER = "all"  # scenarios together


class Summary(NamedTuple):
    """One schedule in one scenario, over all fingers; a finger that never showed a beat counts as silent."""

    scenario: str
    schedule: str
    fingers: int
    silent: int
    rms_mmHg: float  # of the mean-pressure error against the ideal: root of the fingers' mean square
    median_mmHg: float  # the same of the finger in the middle
    systolic: tuple[float, float]  # bias and SD against the ideal, every finger with the same weight [mmHg]
    mean: tuple[float, float]
    diastolic: tuple[float, float]
    arterial_mean: tuple[float, float]  # against true arterial pressure
    arterial_rms_mmHg: float
    lost_share: float  # mean of fingers
    first_waveform_s: float
    interruptions_per_h: float
    large_share: float
    longest_large_s: float  # of the worst finger
    recovery_s: float  # mean of fingers, worst event of each; what never recovered counts with all of its time
    unrecovered: float  # events a finger
    highest_mmHg: float
    searches: float  # mean a finger
    recalibrations: float
    failures: dict[str, int]  # of all fingers, by name
    efficient: bool = False  # on the frontier: no other schedule has less error at no more lost time


def summaries(study: Study) -> list[Summary]:
    """One summary a scenario and schedule, then those of all scenarios together; frontier marked."""
    plan, places = study.plan, range(len(study.plan.scenarios))
    groups = [(name, [place]) for place, name in zip(places, plan.scenarios, strict=True)]
    if len(plan.scenarios) > 1:
        groups.append((TOGETHER, list(places)))
    told: list[Summary] = []
    for scenario, some in groups:
        found = [
            summary_of(scenario, named.name, [study.run(i, j, k) for j in some for k in range(len(study.fingers))])
            for i, named in enumerate(study.schedules)
        ]
        best = efficient([(r.lost_share, r.rms_mmHg) for r in found])
        told += [r._replace(efficient=i in best) for i, r in enumerate(found)]
    return told


def summary_of(scenario: str, schedule: str, runs: list[Row]) -> Summary:
    """The runs of one schedule summed up."""
    figures = np.array([run.figures for run in runs], float).reshape(len(runs), len(METRICS))
    heard = figures[figures[:, METRIC["beats"]] > 0]

    def of(name: str, how: Any = np.mean) -> float:
        values = figures[:, METRIC[name]]
        values = values[np.isfinite(values)]
        return float(how(values)) if len(values) else math.nan

    def error(value: str, against: str = "ideal") -> tuple[float, float]:
        if not len(heard):
            return math.nan, math.nan
        bias, sd = (heard[:, METRIC[f"{value}_{kind}_{against}"]] for kind in ("bias", "sd"))
        return float(np.mean(bias)), float(np.sqrt(np.mean(np.nan_to_num(sd) ** 2) + np.var(bias)))

    hours = figures[:, METRIC["seconds"]].sum() / 3600.0
    return Summary(
        scenario, schedule, len(figures), len(figures) - len(heard), math.sqrt(of("mean_rms_ideal", _mean_square)),
        of("mean_rms_ideal", np.median), error("systolic"), error("mean"), error("diastolic"),
        error("mean", "arterial"), math.sqrt(of("mean_rms_arterial", _mean_square)), of("lost_share"),
        of("first_waveform"), float(figures[:, METRIC["interruptions"]].sum() / hours), of("large_share"),
        of("longest_large", np.max), of("recovery"), of("unrecovered"), of("highest_cuff", np.max), of("searches"),
        of("recalibrations"), dict(sum((Counter(run.failures) for run in runs), Counter[str]())),
    )


def _mean_square(values: NDArray[np.float64]) -> float:
    return float(np.mean(values**2))


def efficient(points: list[tuple[float, float]]) -> list[int]:
    """Of points (lost time, error), those that no other one beats in both, by lost time. Points without error lose."""
    order = sorted((i for i, p in enumerate(points) if math.isfinite(p[1])), key=lambda i: points[i])
    best: list[int] = []
    for i in order:
        if not best or points[i][1] < points[best[-1]][1]:
            best.append(i)
    return best


def troubles(study: Study) -> list[str]:
    """Runs that did not go on to their end, one line each."""
    plan = study.plan
    return [
        f"{plan.scenarios[j]}, {study.schedules[i].name}, {study.fingers[k].name}: {run.ended}"
        for (j, k), runs in sorted(study.runs.items()) for i, run in enumerate(runs) if run.ended != IN_TIME
    ]
