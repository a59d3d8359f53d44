"""A failure-mode table in the manner of IEC 60812: one row a failure, ranked by the user's own scales.

    risk priority number = severity × occurrence × detection, each from 1 to 10
"""
from __future__ import annotations

import csv
import io
from typing import NamedTuple

from experiments.safety.report.scales import Scales


class Outcome(NamedTuple):
    """What the runs of one failure showed at their worst, with one set of protections."""

    highest_mmHg: float  # at the finger
    detect_s: float  # onset to the first warning or reaction; infinite for never
    vent_s: float  # start of venting to below 20 mmHg, slowest; infinite for never
    wrong_mmHg: float  # largest error of a waveform that was shown with no warning
    wrong_s: float  # longest time of an error above 10 mmHg that was shown with no warning
    broken: tuple[str, ...] = ()  # limits that were broken


class Failure(NamedTuple):
    """One failure of the catalogue, with its outcome under all protection and with each protection taken away."""

    name: str
    item: str
    mode: str
    effect: str
    cause: str
    detection: str  # what caught it first
    runs: int  # with all protection
    broken_runs: int  # of these, how many broke a limit
    missed_runs: int  # and how many nobody noticed
    detect_median_s: float  # of those that were noticed; nan when none was
    protected: Outcome
    without: dict[str, Outcome]  # by protection taken away


class Row(NamedTuple):
    """One row of the table."""

    name: str
    item: str
    mode: str
    effect: str
    cause: str
    detection: str
    severity: int
    occurrence: int
    detectability: int
    priority: int  # severity × occurrence × detection
    highest_mmHg: float
    detect_median_s: float
    missed_runs: int
    wrong_s: float
    worst_without: str  # the protection whose loss is worst
    residual: str


COLUMNS = {
    "name": "Failure", "item": "Item", "mode": "Mode", "effect": "Effect", "cause": "Cause", "detection": "Caught by",
    "severity": "S", "occurrence": "O", "detectability": "D", "priority": "RPN", "highest_mmHg": "Highest (mmHg)",
    "detect_median_s": "Detected after (s, median)", "missed_runs": "Missed (runs)",
    "wrong_s": "Wrong, unsaid (s)", "worst_without": "Worst loss of a protection",
    "residual": "Residual",
}
NORMAL_s = 0.5  # of a wrong reading: less is how long any detector takes
BREAKS = {  # what it means that a limit is broken
    "pressure": "pressure above the limit", "time above normal": "too long above the normal pressure",
    "vent": "does not empty in time", "undetected wrong reading": "reads wrong and nobody notices",
}


def figures_of(outcome: Outcome) -> dict[str, float]:
    """The figures that scales look at."""
    return {"highest_mmHg": outcome.highest_mmHg, "wrong_s": outcome.wrong_s, "detect_s": outcome.detect_s}


def priority(severity: int, occurrence: int, detection: int) -> int:
    """Risk priority number (IEC 60812)."""
    return severity * occurrence * detection


def worst_loss(failure: Failure) -> str:
    """The protection whose loss breaks most limits, then lifts the pressure most; empty when none matters."""
    def badness(name: str) -> tuple[int, float, float]:
        lost = failure.without[name]
        return len(lost.broken), lost.highest_mmHg, lost.wrong_s

    base = (len(failure.protected.broken), failure.protected.highest_mmHg + 0.5, failure.protected.wrong_s + 0.5)
    worse = [name for name in failure.without if badness(name) > base]
    return max(worse, key=badness) if worse else ""


def rows_of(failures: list[Failure], scales: Scales) -> list[Row]:
    """The table, highest risk priority number first, then by name."""
    rows = []
    for failure in failures:
        figures = figures_of(failure.protected)
        severity, detection = scales.severity_rank(figures), scales.detection_rank(figures)
        occurrence = scales.occurrence_rank(failure.name)
        rows.append(Row(
            failure.name, failure.item, failure.mode, failure.effect, failure.cause, failure.detection, severity,
            occurrence, detection, priority(severity, occurrence, detection), failure.protected.highest_mmHg,
            failure.detect_median_s, failure.missed_runs, failure.protected.wrong_s,
            worst_loss(failure), residual_text(failure),
        ))
    return sorted(rows, key=lambda row: (-row.priority, row.name))


def broken_words(limits: tuple[str, ...]) -> str:
    """What it means that these limits are broken."""
    return ", ".join(BREAKS.get(limit, f"breaks {limit}") for limit in limits) or "every limit kept"


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


def single_points(failures: list[Failure]) -> list[tuple[str, str, tuple[str, ...]]]:
    """(protection, failure, limits broken): every protection whose loss, with one failure, breaks what it did not."""
    return [
        (name, failure.name, tuple(limit for limit in lost.broken if limit not in failure.protected.broken))
        for failure in failures for name, lost in failure.without.items()
        if set(lost.broken) - set(failure.protected.broken)
    ]


def table_csv(rows: list[Row]) -> str:
    """The table as CSV with a header line."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(Row._fields)
    for row in rows:
        writer.writerow([f"{value:.6g}" if isinstance(value, float) else value for value in row])
    return text.getvalue()
