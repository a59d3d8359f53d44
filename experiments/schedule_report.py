"""A comparison of schedules as a table, as JSON, and as labelled data: lost time against error."""
from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.output import plain
from experiments.schedule_metrics import METRIC, METRICS, BIN_s, LARGE_mmHg
from experiments.schedule_run import IN_TIME
from experiments.schedule_study import Study

ALL = "all"  # scenarios together
YARDSTICK = "growing"  # the schedule that others are held against, where it is among them
TROUBLES_SHOWN = 5


class Row(NamedTuple):
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
    lost_share: float
    interruptions_per_h: float
    large_share: float
    longest_large_s: float  # of the worst finger
    recovery_s: float  # mean of fingers, worst event of each
    highest_mmHg: float
    searches: float  # mean a finger
    recalibrations: float
    failures: float
    efficient: bool = False  # on the frontier: no other schedule has less error at no more lost time


def rows_of(study: Study) -> list[Row]:
    """One row a scenario and schedule, then those of all scenarios together; frontier marked."""
    figures, plan = study.figures(), study.plan
    rows: list[Row] = []
    groups = [(name, figures[:, [j]]) for j, name in enumerate(plan.scenarios)]
    if len(plan.scenarios) > 1:
        groups.append((ALL, figures))
    for scenario, part in groups:
        some = [_row(scenario, named.name, part[i].reshape(-1, len(METRICS))) for i, named in enumerate(plan.schedules)]
        best = efficient([(r.lost_share, r.rms_mmHg) for r in some])
        rows += [r._replace(efficient=i in best) for i, r in enumerate(some)]
    return rows


def _row(scenario: str, schedule: str, figures: NDArray[np.float64]) -> Row:
    heard = figures[figures[:, METRIC["beats"]] > 0]

    def of(name: str, how: Any = np.mean, among: NDArray[np.float64] = figures) -> float:
        values = among[:, METRIC[name]]
        values = values[np.isfinite(values)]
        return float(how(values)) if len(values) else math.nan

    def error(value: str, against: str = "ideal") -> tuple[float, float]:
        if not len(heard):
            return math.nan, math.nan
        bias, sd = (heard[:, METRIC[f"{value}_{kind}_{against}"]] for kind in ("bias", "sd"))
        return float(np.mean(bias)), float(np.sqrt(np.mean(np.nan_to_num(sd) ** 2) + np.var(bias)))

    hours = figures[:, METRIC["seconds"]].sum() / 3600.0
    return Row(
        scenario, schedule, len(figures), len(figures) - len(heard), math.sqrt(of("mean_rms_ideal", _mean_square)),
        of("mean_rms_ideal", np.median), error("systolic"), error("mean"), error("diastolic"),
        error("mean", "arterial"), math.sqrt(of("mean_rms_arterial", _mean_square)), of("lost_share"),
        float(figures[:, METRIC["interruptions"]].sum() / hours), of("large_share"), of("longest_large", np.max),
        of("recovery"), of("highest_cuff", np.max), of("searches"), of("recalibrations"), of("failures"),
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


class Against(NamedTuple):
    """The schedule with the least error at no more lost time than the yardstick's, in one scenario."""

    scenario: str
    schedule: str
    error_ratio: float
    lost_share: float
    yardstick_lost_share: float


def against_yardstick(rows: list[Row]) -> list[Against]:
    """Per scenario, what the best other schedule makes of the yardstick's error; none where it was not run."""
    found = []
    for scenario in dict.fromkeys(r.scenario for r in rows):
        some = [r for r in rows if r.scenario == scenario and math.isfinite(r.rms_mmHg)]
        base = next((r for r in some if r.schedule == YARDSTICK), None)
        rivals = [r for r in some if base and r is not base and r.lost_share <= base.lost_share]
        if base and rivals:
            best = min(rivals, key=lambda r: r.rms_mmHg)
            found.append(Against(scenario, best.schedule, best.rms_mmHg / base.rms_mmHg, best.lost_share,
                                 base.lost_share))
    return found


def troubles(study: Study) -> list[str]:
    """Runs that did not go on to their end, one line each."""
    plan = study.plan
    return [
        f"{plan.scenarios[j]}, {plan.schedules[i].name}, {plan.fingers[k].name}: {run.ended}"
        for (i, j, k), run in sorted(study.runs.items()) if run.ended != IN_TIME
    ]


def study_lines(study: Study, rows: list[Row]) -> list[str]:
    """The table for people."""
    plan = study.plan
    lines = [
        f"{plan.rig.name}: {len(plan.schedules)} schedules × {len(plan.scenarios)} scenarios × {len(plan.fingers)} "
        f"fingers, {plan.seconds / 60:g} min each; search: {plan.search.name}",
        "error of beats against the ideal clamp [mmHg]; lost: time without waveform; * on the efficient frontier",
        "",
        f"{'scenario':12s} {'schedule':12s}   {'rms':>5s} {'median':>6s}  {'mean':>12s}  {'systolic':>12s}  "
        f"{'diastolic':>12s}  {'lost':>6s} {'gaps/h':>6s} {f'>{LARGE_mmHg:g} for':>7s} {'recovery':>8s} {'fails':>5s}",
    ]
    last = ""
    for row in rows:
        if row.scenario != last and last:
            lines.append("")
        lines.append(_line(row, "" if row.scenario == last else row.scenario))
        last = row.scenario
    lines.append("")
    lines += [
        f"{a.scenario}: {a.schedule} has {a.error_ratio:.2f} of {YARDSTICK}'s error, at {100 * a.lost_share:.1f} % "
        f"lost time against {100 * a.yardstick_lost_share:.1f} %"
        for a in against_yardstick(rows)
    ]
    bad = troubles(study)
    lines += bad[:TROUBLES_SHOWN]
    if len(bad) > TROUBLES_SHOWN:
        lines.append(f"… and {len(bad) - TROUBLES_SHOWN} more runs that ended before their time")
    if study.reused:
        lines.append(f"{study.reused} of {len(study.runs)} runs were there already")
    return lines


def _line(row: Row, scenario: str) -> str:
    def pair(error: tuple[float, float]) -> str:
        return f"{error[0]:+6.2f} ±{error[1]:5.2f}" if math.isfinite(error[0]) else f"{'–':>13s}"

    silent = f"  {row.silent} of {row.fingers} without a beat" if row.silent else ""
    return (f"{scenario:12s} {row.schedule:12s} {'*' if row.efficient else ' '} {_number(row.rms_mmHg, 5, 2)} "
            f"{_number(row.median_mmHg, 6, 2)} {pair(row.mean)} {pair(row.systolic)} {pair(row.diastolic)}  "
            f"{100 * row.lost_share:4.1f} % {row.interruptions_per_h:6.1f} {_number(row.longest_large_s, 5, 0)} s "
            f"{_number(row.recovery_s, 6, 0)} s {row.failures:5.2f}{silent}")


def _number(value: float, width: int, digits: int) -> str:
    return f"{value:{width}.{digits}f}" if math.isfinite(value) else f"{'–':>{width}s}"


def study_json(study: Study, rows: list[Row]) -> dict[str, Any]:
    """All of it but the single runs, which are in the NetCDF file."""
    plan = study.plan
    return {
        "rig": plan.rig.name, "strategy": plan.search.name, "minutes": plan.seconds / 60.0,
        "schedules": {s.name: {"about": s.about, "parameters": repr(s.schedule)} for s in plan.schedules},
        "scenarios": list(plan.scenarios), "fingers": [f.name for f in plan.fingers],
        "rows": [row._asdict() for row in rows], "against_growing": [a._asdict() for a in against_yardstick(rows)],
        "ended_early": troubles(study),
    }


def as_dataset(study: Study, document: dict[str, Any]) -> Any:
    """An xarray Dataset over schedule, scenario, finger and metric, with units and provenance as attributes."""
    import xarray

    plan = study.plan
    runs = ("schedule", "scenario", "finger")
    shape = (len(plan.schedules), len(plan.scenarios), len(plan.fingers))
    bins = math.ceil(plan.seconds / BIN_s)
    courses = np.full((*shape, 3, bins), np.nan, np.float32)
    ended = np.full(shape, "", object)
    for key, run in study.runs.items():
        width = min(run.course.shape[1], bins)
        courses[key][:, :width] = run.course[:, :width]
        ended[key] = run.ended
    data = {
        "figure": ((*runs, "metric"), study.figures(), {"long_name": "figures of a run", "units": "see unit"}),
        "error": ((*runs, "time"), courses[..., 0, :],
                  {"units": "mmHg", "long_name": "mean-pressure error against the ideal clamp"}),
        "shown": ((*runs, "time"), courses[..., 1, :], {"units": "1", "long_name": "share of time with a waveform"}),
        "tone": ((*runs, "time"), courses[..., 2, :], {"units": "1", "long_name": "vasomotor tone"}),
        "ended": (runs, ended.astype(str), {"long_name": "how the run ended"}),
    }
    coordinates = {
        "schedule": [s.name for s in plan.schedules], "scenario": list(plan.scenarios),
        "finger": [f.name for f in plan.fingers], "metric": [m.name for m in METRICS],
        "unit": ("metric", [m.unit for m in METRICS]), "meaning": ("metric", [m.meaning for m in METRICS]),
        "time": ("time", (np.arange(bins) + 0.5) * BIN_s, {"units": "s"}),
    }
    attributes = {"rig": plan.rig.name, "strategy": plan.search.name, "run_seconds": plan.seconds,
                  "about": json.dumps(plain(document), ensure_ascii=False)}
    return xarray.Dataset(data, coordinates, attributes)


def write_dataset(path: Path, study: Study, document: dict[str, Any]) -> None:
    """Classic NetCDF, which every reader knows."""
    as_dataset(study, document).to_netcdf(path, engine="scipy")
