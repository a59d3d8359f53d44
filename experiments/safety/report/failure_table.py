"""A failure-mode table in the manner of IEC 60812: one row a failure, ranked by the user's own scales.

    risk priority number = severity × occurrence × detection, each from 1 to 10
"""
from __future__ import annotations

import csv
import io
from typing import NamedTuple

from experiments.safety.faults.findings import Failure, Outcome, broken_words
from experiments.safety.report.hazards import control_words, hazards_of
from experiments.safety.report.scales import Scales

NORMAL_s = 0.5  # of a wrong reading: less is how long any detector takes


class Row(NamedTuple):
    """One row of the table."""

    name: str
    item: str
    mode: str
    cause: str
    hazard: str
    harm: str
    effect: str  # what was seen, with figures
    detection: str
    control: str  # protections that a limit rests on
    severity: int
    occurrence: int
    detectability: int
    priority: int  # severity × occurrence × detection
    highest_mmHg: float
    detect_median_s: float
    missed_runs: int
    wrong_s: float
    residual: str


COLUMNS = {
    "name": "Failure", "item": "Item", "mode": "Mode", "cause": "Cause", "hazard": "Hazard", "harm": "Possible harm",
    "effect": "Seen", "detection": "Caught by", "control": "Control: a limit rests on", "severity": "S",
    "occurrence": "O", "detectability": "D", "priority": "RPN", "highest_mmHg": "Highest (mmHg)",
    "detect_median_s": "Detected after (s, median)", "missed_runs": "Missed (runs)",
    "wrong_s": "Wrong, unsaid (s)", "residual": "Residual",
}


def figures_of(outcome: Outcome) -> dict[str, float]:
    """The figures that scales look at."""
    return {"highest_mmHg": outcome.highest_mmHg, "wrong_s": outcome.wrong_s, "detect_s": outcome.detect_s}


def priority(severity: int, occurrence: int, detection: int) -> int:
    """Risk priority number (IEC 60812)."""
    return severity * occurrence * detection


def rows_of(failures: list[Failure], scales: Scales) -> list[Row]:
    """The table, highest risk priority number first, then by name."""
    rows = []
    for failure in failures:
        figures = figures_of(failure.protected)
        severity, detection = scales.severity_rank(figures), scales.detection_rank(figures)
        occurrence = scales.occurrence_rank(failure.name)
        rows.append(Row(
            failure.name, failure.item, failure.mode, failure.cause,
            "; ".join(hazard.name for hazard in hazards_of(failure)),
            "; ".join(hazard.harm for hazard in hazards_of(failure)),
            failure.effect, failure.detection, control_words(failure), severity, occurrence, detection,
            priority(severity, occurrence, detection), failure.protected.highest_mmHg, failure.detect_median_s,
            failure.missed_runs, failure.protected.wrong_s, residual_text(failure),
        ))
    return sorted(rows, key=lambda row: (-row.priority, row.name))


def residual_text(failure: Failure) -> str:
    """What is left with all protection, in words."""
    left = failure.protected
    if left.broken:
        return broken_words(left.broken)
    if left.wrong_s > NORMAL_s:
        return f"up to {left.wrong_mmHg:.0f} mmHg wrong for {left.wrong_s:.1f} s, unsaid"
    if failure.missed_runs:
        return f"within limits, unnoticed in {failure.missed_runs} of {failure.runs} runs"
    return "within limits"


def table_csv(rows: list[Row]) -> str:
    """The table as CSV with a header line."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(Row._fields)
    for row in rows:
        writer.writerow([f"{value:.6g}" if isinstance(value, float) else value for value in row])
    return text.getvalue()
