"""A comparison of schedules summed up: a row for each scenario and schedule, the efficient frontier, the yardstick."""
from __future__ import annotations

import math
from collections import Counter
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.calibration.schedule.measures import METRIC, METRICS, LARGE_mmHg, STAYS_s
from experiments.calibration.schedule.piece import IN_TIME, Row
from experiments.calibration.schedule.study import Study

TOGETHER = "all"  # scenarios together
YARDSTICK = "growing"  # the schedule that others are held against, where it is among them
TROUBLES_SHOWN = 5


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
    """One row a scenario and schedule, then those of all scenarios together; frontier marked."""
    plan, places = study.plan, range(len(study.plan.scenarios))
    groups = [(name, [place]) for place, name in zip(places, plan.scenarios, strict=True)]
    if len(plan.scenarios) > 1:
        groups.append((TOGETHER, list(places)))
    rows: list[Summary] = []
    for scenario, some in groups:
        found = [
            summary_of(scenario, named.name, [study.run(i, j, k) for j in some for k in range(len(study.fingers))])
            for i, named in enumerate(study.schedules)
        ]
        best = efficient([(r.lost_share, r.rms_mmHg) for r in found])
        rows += [r._replace(efficient=i in best) for i, r in enumerate(found)]
    return rows


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


class Against(NamedTuple):
    """The schedule with the least error at no more lost time than the yardstick's, in one scenario."""

    scenario: str
    schedule: str
    error_ratio: float
    lost_share: float
    yardstick_lost_share: float


def against_yardstick(rows: list[Summary]) -> list[Against]:
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
        f"{plan.scenarios[j]}, {study.schedules[i].name}, {study.fingers[k].name}: {run.ended}"
        for (j, k), runs in sorted(study.runs.items()) for i, run in enumerate(runs) if run.ended != IN_TIME
    ]


def lines_before(study: Study) -> list[str]:
    """What stands above the table."""
    plan = study.plan
    return [
        f"{study.rig.name}: {len(study.schedules)} schedules × {len(plan.scenarios)} scenarios × {len(study.fingers)} "
        f"fingers ({plan.group}, seed {plan.seed}), {plan.seconds / 60:g} min each",
        "Errors of beats shown, against an ideal clamp at the unloaded volume [mmHg]: rms of the mean pressure; "
        "bias ± SD.",
        f"lost: time without waveform; gaps: interruptions; longest: stretch with more than {LARGE_mmHg:g} mmHg of "
        "error, worst finger;",
        f"back: from an event to less than that for {STAYS_s:g} s, > where it never came so far; *: on the efficient "
        "frontier.",
    ]


def lines_after(study: Study, rows: list[Summary]) -> list[str]:
    """What stands below the table."""
    lines = [
        f"{a.scenario}: {a.schedule} has {a.error_ratio:.2f} of {YARDSTICK}'s error, at {100 * a.lost_share:.1f} % "
        f"lost time against {100 * a.yardstick_lost_share:.1f} %"
        for a in against_yardstick(rows)
    ]
    bad = troubles(study)
    lines += bad[:TROUBLES_SHOWN]
    if len(bad) > TROUBLES_SHOWN:
        lines.append(f"… and {len(bad) - TROUBLES_SHOWN} more runs that ended before their time")
    return lines


def table(rows: list[Summary]) -> Any:
    """A rich table, one line a scenario and schedule."""
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    found = Table(box=SIMPLE_HEAD, pad_edge=False, show_edge=False)
    trouble = any(row.failures or row.silent for row in rows)
    for head in ("scenario", "schedule", "", "rms", "mean", "systolic", "diastolic", "lost", "gaps/h", "longest",
                 "back", *(["failures"] if trouble else [])):
        left = head in ("scenario", "schedule", "", "failures")
        found.add_column(head, justify="left" if left else "right", no_wrap=head != "failures")
    for place, row in enumerate(rows):
        first = place == 0 or rows[place - 1].scenario != row.scenario
        last = place + 1 == len(rows) or rows[place + 1].scenario != row.scenario
        cells = [row.scenario if first else "", row.schedule, "*" if row.efficient else "", _number(row.rms_mmHg, 2),
                 _pair(row.mean), _pair(row.systolic), _pair(row.diastolic), f"{100 * row.lost_share:.1f} %",
                 f"{row.interruptions_per_h:.1f}", _number(row.longest_large_s, 0, " s"),
                 f"{'>' if row.unrecovered > 0.0 else ''}{_number(row.recovery_s, 0, ' s')}"]
        found.add_row(*cells, *([_failures(row)] if trouble else []), end_section=last)
    return found


def _pair(error: tuple[float, float]) -> str:
    return f"{error[0]:+.1f} ±{error[1]:4.1f}" if math.isfinite(error[0]) else "–"


def _number(value: float, digits: int, unit: str = "") -> str:
    return f"{value:.{digits}f}{unit}" if math.isfinite(value) else "–"


def _failures(row: Summary) -> str:
    silent = [f"{row.silent} of {row.fingers} silent"] if row.silent else []
    return ", ".join([*silent, *(f"{count} {name}" for name, count in sorted(row.failures.items()))])


def print_table(study: Study, rows: list[Summary]) -> None:
    """The table for people on standard output, no narrower than it needs to be."""
    from rich.console import Console

    console, body = Console(highlight=False, markup=False), table(rows)
    console.width = max(console.width, console.measure(body, options=console.options.update(width=250)).maximum)
    for line in lines_before(study):
        console.print(line, soft_wrap=True)
    console.print()
    console.print(body)
    for line in lines_after(study, rows):
        console.print(line, soft_wrap=True)


def study_json(study: Study, rows: list[Summary]) -> dict[str, Any]:
    """All of it but the single runs, which are in the NetCDF file."""
    plan = study.plan
    return {
        "rig": study.rig.name, "search": repr(plan.search), "minutes": plan.seconds / 60.0, "group": plan.group,
        "steps_a_tick": study.steps,
        "schedules": {s.name: {"about": s.about, "parameters": repr(s.schedule)} for s in study.schedules},
        "scenarios": list(plan.scenarios), "fingers": [f.name for f in study.fingers],
        "rows": [row._asdict() for row in rows], "against_growing": [a._asdict() for a in against_yardstick(rows)],
        "ended_early": troubles(study),
    }
