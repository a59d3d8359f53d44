"""What people and programs read of a comparison of schedules: a table, and plain data."""
from __future__ import annotations

import io
import math
import shutil
from typing import Any

from experiments.calibration.schedule.measures import LARGE_mmHg, STAYS_s
from experiments.calibration.schedule.study import Study
from experiments.calibration.schedule.summary import Summary, troubles
from experiments.calibration.schedule.verdict import YARDSTICK, against_yardstick

FAILURES_SHOWN = 5


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


def lines_after(study: Study, found: list[Summary]) -> list[str]:
    """What stands below the table."""
    lines = [
        f"{a.scenario}: {a.schedule} has {a.error_ratio:.2f} of {YARDSTICK}'s error, at {100 * a.lost_share:.1f} % "
        f"lost time against {100 * a.yardstick_lost_share:.1f} %"
        for a in against_yardstick(found)
    ]
    bad = troubles(study)
    lines += bad[:FAILURES_SHOWN]
    if len(bad) > FAILURES_SHOWN:
        lines.append(f"… and {len(bad) - FAILURES_SHOWN} more runs that ended before their time")
    return lines


def table(found: list[Summary]) -> Any:
    """A rich table, one line a scenario and schedule."""
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    body = Table(box=SIMPLE_HEAD, pad_edge=False, show_edge=False)
    trouble = any(row.failures or row.silent for row in found)
    for head in ("scenario", "schedule", "", "rms", "mean", "systolic", "diastolic", "lost", "gaps/h", "longest",
                 "back", *(["failures"] if trouble else [])):
        left = head in ("scenario", "schedule", "", "failures")
        body.add_column(head, justify="left" if left else "right", no_wrap=head != "failures")
    for place, row in enumerate(found):
        first = place == 0 or found[place - 1].scenario != row.scenario
        last = place + 1 == len(found) or found[place + 1].scenario != row.scenario
        cells = [row.scenario if first else "", row.schedule, "*" if row.efficient else "", _number(row.rms_mmHg, 2),
                 _pair(row.mean), _pair(row.systolic), _pair(row.diastolic), f"{100 * row.lost_share:.1f} %",
                 f"{row.interruptions_per_h:.1f}", _number(row.longest_large_s, 0, " s"),
                 f"{'>' if row.unrecovered > 0.0 else ''}{_number(row.recovery_s, 0, ' s')}"]
        body.add_row(*cells, *([_failures(row)] if trouble else []), end_section=last)
    return body


def _pair(error: tuple[float, float]) -> str:
    return f"{error[0]:+.1f} ±{error[1]:4.1f}" if math.isfinite(error[0]) else "–"


def _number(value: float, digits: int, unit: str = "") -> str:
    return f"{value:.{digits}f}{unit}" if math.isfinite(value) else "–"


def _failures(row: Summary) -> str:
    silent = [f"{row.silent} of {row.fingers} silent"] if row.silent else []
    return ", ".join([*silent, *(f"{count} {name}" for name, count in sorted(row.failures.items()))])


def study_lines(study: Study, found: list[Summary]) -> list[str]:
    """The comparison for people: as wide as the terminal, or wider where the table needs it."""
    from rich.console import Console

    wide = shutil.get_terminal_size((80, 24)).columns
    console, body = Console(file=io.StringIO(), width=wide, highlight=False, markup=False), table(found)
    console.width = max(wide, console.measure(body, options=console.options.update(width=250)).maximum)
    with console.capture() as drawn:
        console.print(body)
    return [*lines_before(study), "", *drawn.get().splitlines(), *lines_after(study, found)]


def study_json(study: Study, found: list[Summary]) -> dict[str, Any]:
    """All of it but the single runs, which are in the NetCDF file."""
    plan = study.plan
    return {
        "rig": study.rig.name, "search": repr(plan.search), "minutes": plan.seconds / 60.0, "group": plan.group,
        "steps_a_tick": study.steps,
        "schedules": {s.name: {"about": s.about, "parameters": repr(s.schedule)} for s in study.schedules},
        "scenarios": list(plan.scenarios), "fingers": [f.name for f in study.fingers],
        "rows": [row._asdict() for row in found],
        f"against_{YARDSTICK}": [a._asdict() for a in against_yardstick(found)],
        "ended_early": troubles(study),
    }
