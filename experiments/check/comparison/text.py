"""What people and programs read of rigs side by side."""
from __future__ import annotations

import math
from typing import Any

from experiments.check.check import Check
from experiments.check.comparison.study import Comparison
from experiments.check.dataset import figures_of, unit_of
from experiments.check.record_text import record_lines
from experiments.check.text import check_json
from experiments.rigs.requirements import FIGURES
from experiments.work.output import CAUTION
from plant.pressure.record_quality import NARROW_Hz

LABEL, UNIT = 42, 13  # widths of the first columns
NARROWEST, WIDEST = 14, 34
MOST_CHARACTERS = 24  # of a value


def comparison_lines(found: Comparison) -> list[str]:
    """Margins, tracking, phase budget, parameters that differ, and verdicts; a column for each rig."""
    width = min(max(NARROWEST, *(len(name) + 2 for name in found.names)), WIDEST)
    records = " and ".join(dict.fromkeys(check.run.trace.name for check in found.checks))
    lines = [f"{len(found.checks)} rigs on {records}, seed {found.checks[0].run.seed}; ! misses a limit of its own",
             *dict.fromkeys(line for check in found.checks for line in record_lines(check.run.trace)), "",
             f"{'worst of all operating points':<{LABEL + UNIT}}" + "".join(_head(name, width) for name in found.names)]
    missed = [missed_by(check) for check in found.checks]
    figures = [figures_of(check) for check in found.checks]
    for name in dict.fromkeys(name for some in figures for name in some):
        cells = [f"{_number(some.get(name, math.nan))}{'!' if name in gone else ' '}"
                 for some, gone in zip(figures, missed, strict=True)]
        lines.append(f"{label_of(name):<{LABEL}}{unit_of(name):<{UNIT}}" + "".join(f"{c:>{width}}" for c in cells))
    lines += ["", *_budget_lines(found, width), "", *_difference_lines(found, width), ""]
    for name, check in zip(found.names, found.checks, strict=True):
        verdict = "PASS" if check.passed else "NO PASS" if check.kept else "FAIL"
        lines.append(f"{verdict}: {name}{_why(check)}")
    return [*(line.rstrip() for line in lines), CAUTION]


def label_of(name: str) -> str:
    """A figure in words, as in `systolic error by beat (sd)`."""
    bare, dot, which = name.partition(".")
    return f"{FIGURES[bare][1]}{f' ({which})' if dot else ''}"


def missed_by(check: Check) -> set[str]:
    """Figures of a check, as `figures_of` names them, that miss a limit."""
    return {f"{v.figure}.{v.limit[:-4]}" if "_" in v.limit else v.figure for v in check.verdicts if not v.passed}


def _head(name: str, width: int) -> str:
    return f"{name if len(name) < width else name[: width - 2] + '…':>{width - 1}} "


def _budget_lines(found: Comparison, width: int) -> list[str]:
    """Phase of each part at the crossover of each rig's worst loop."""
    costs = [{row.part: row.phase_deg for row in check.budget} for check in found.checks]
    at = [f"{check.worst.margins.crossover_Hz:.3g} Hz" for check in found.checks]
    lines = [f"{'phase at the crossover of the worst loop':<{LABEL}}{'°':<{UNIT}}"
             + "".join(f"{a:>{width - 1}} " for a in at)]
    parts = dict.fromkeys(part for some in costs for part in some)
    for part in sorted(parts, key=lambda part: min(some.get(part, 0.0) for some in costs)):
        cells = [f"{round(some[part], 1) + 0.0:.1f}" if part in some else "–" for some in costs]
        lines.append(f"  {part:<{LABEL + UNIT - 2}}" + "".join(f"{c:>{width - 1}} " for c in cells))
    sums = [f"{sum(some.values()):.1f}" if some else "–" for some in costs]
    return [*lines, f"  {'sum':<{LABEL + UNIT - 2}}" + "".join(f"{s:>{width - 1}} " for s in sums)]


def _difference_lines(found: Comparison, width: int) -> list[str]:
    if not found.differences:
        return ["the rigs have the same parameters"]
    lines = ["parameters that differ"]
    for row in found.differences:
        unit = "" if row.unit in ("", "1") else row.unit
        lines.append(f"  {row.name:<{LABEL - 2}}{unit:<{UNIT}}" + "".join(f"{_value(v):>{width - 1}} "
                                                                        for v in row.values))
    return lines


def _why(check: Check) -> str:
    if check.calibration.found is None:
        return ", no set point found"
    if check.run.status != "done":
        return f", the run {check.run.status}"
    if check.kept and not check.passed:
        return f", keeps its limits, but the record is cut off below {NARROW_Hz:g} Hz"
    missed = [label_of(name) for name in figures_of(check) if name in missed_by(check)]
    return f", misses {'; '.join(missed)}" if missed else ""


def _number(value: float) -> str:
    if math.isnan(value):
        return "none"
    return "∞" if math.isinf(value) else f"{value:.4g}"


def _value(value: Any) -> str:
    if value is None:
        return "–"
    text = f"{value:.5g}" if isinstance(value, float) else str(value).lower() if isinstance(value, bool) else str(value)
    return text if len(text) <= MOST_CHARACTERS else f"…{text[1 - MOST_CHARACTERS:]}"


def comparison_json(found: Comparison) -> dict[str, Any]:
    """The same as plain data, each check whole."""
    return {
        "passed": found.passed, "rigs": list(found.names),
        "figures": {name: figures_of(check) for name, check in zip(found.names, found.checks, strict=True)},
        "differences": {row.name: {"unit": row.unit, "values": dict(zip(found.names, row.values, strict=True))}
                        for row in found.differences},
        "checks": {name: check_json(check) for name, check in zip(found.names, found.checks, strict=True)},
    }
