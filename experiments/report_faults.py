"""Sections of a report that follow from a study of failures: the short answer, the table, single points, bounds."""
from __future__ import annotations

import math
from typing import Any, NamedTuple

from experiments.confidence import failure_bound, rate_bound_per_h
from experiments.failure_table import COLUMNS, Failure, Row, rows_of, single_points, worst_loss
from experiments.html_page import Section, bullets, image, number, paragraph, table
from experiments.scales import Scales


class Evidence(NamedTuple):
    """What a study of failures left behind."""

    failures: list[Failure]
    limits: tuple[str, ...]  # in words
    scales: Scales
    physiology_h: float  # finger-hours of physiology run with all protection
    false_alarms: int
    figures: dict[str, tuple[bytes, str]]  # name: (PNG, what it shows)
    command: str


def worst_failure(evidence: Evidence) -> Failure:
    """The failure that can press hardest on the finger, with all protection or once any one of them is gone."""
    return max(evidence.failures, key=lambda f: max(o.highest_mmHg for o in (f.protected, *f.without.values())))


def short_answer(evidence: Evidence) -> str:
    """The worst failure, what catches it, what happens when that is gone; what nothing contains; what stays silent."""
    worst = worst_failure(evidence)
    kept = worst.protected
    lines = [
        f"Worst failure: {worst.name} ({worst.mode}). With all protection the finger sees at most "
        f"{kept.highest_mmHg:.0f} mmHg; {_caught(worst)}.",
    ]
    name = worst_loss(worst)
    if name:
        lost = worst.without[name]
        lines.append(f"Without {name.replace('_', ' ')}: {lost.highest_mmHg:.0f} mmHg, "
                     + (f"breaks {', '.join(lost.broken)}." if lost.broken else "still within every limit."))
    loose = [f"{f.name} ({', '.join(f.protected.broken)})" for f in evidence.failures if f.protected.broken]
    lines.append("Not contained with all protection: " + (", ".join(loose) or "none") + ".")
    silent = [f for f in evidence.failures if f.protected.wrong_s > 30.0]
    if silent:
        quiet = max(silent, key=lambda f: f.protected.wrong_s)
        lines.append(f"Worst silent failure: {quiet.name}: up to {quiet.protected.wrong_mmHg:.0f} mmHg wrong for "
                     f"{quiet.protected.wrong_s:.0f} s with no warning; {len(silent)} of {len(evidence.failures)} "
                     "failures read more than 10 mmHg wrong for over 30 s unsaid.")
    else:
        lines.append("No failure reads more than 10 mmHg wrong for over 30 s without a warning.")
    points = single_points(evidence.failures)
    lines.append(f"{len(points)} pairs of one lost protection and one failure break a limit."
                 if points else "No single lost protection lets any one failure break a limit.")
    return bullets(lines)


def _caught(failure: Failure) -> str:
    if failure.missed_runs == failure.runs:
        return "nothing notices it"
    vent = failure.protected.vent_s
    vented = f", the cuff is empty {vent:.2f} s after it is vented" if math.isfinite(vent) else ""
    missed = f"; {failure.missed_runs} of {failure.runs} runs go unnoticed" if failure.missed_runs else ""
    return f"{failure.detection} catches it first, after {failure.detect_median_s:.2f} s (median){vented}{missed}"


def faults_sections(evidence: Evidence) -> list[Section]:
    """Failure-mode table, single points of failure, bounds on probabilities, false alarms."""
    rows = rows_of(evidence.failures, evidence.scales)
    figures = "".join(image(png, words, f"figure-{name}") for name, (png, words) in evidence.figures.items())
    about = (
        "Severity × occurrence × detection, from 1 to 10 each, in the manner of IEC 60812. Scales: "
        f"{evidence.scales.about or 'of the user'}. Occurrence cannot be known from a simulation. "
        "Click a heading to sort."
    )
    return [
        Section("faults", "Failures", figures + paragraph(about) + table(tuple(COLUMNS.values()), _cells(rows), True)
                + paragraph("Limits: " + "; ".join(evidence.limits), "note")
                + paragraph(f"Rerun: {evidence.command}", "note")),
        Section("points", "Single points of failure", _points(evidence.failures)),
        Section("bounds", "How sure: bounds on probabilities", _bounds(evidence.failures)),
        Section("alarms", "False alarms", paragraph(alarm_text(evidence.false_alarms, evidence.physiology_h))),
    ]


def _cells(rows: list[Row]) -> list[list[Any]]:
    return [[getattr(row, name) for name in COLUMNS] for row in rows]


def _points(failures: list[Failure]) -> str:
    points = single_points(failures)
    if not points:
        return paragraph("No protection, taken away alone, lets any single failure of the catalogue break a limit.")
    rows = [[protection, name, ", ".join(limits)] for protection, name, limits in points]
    return (paragraph("Every protection whose loss, together with one failure, breaks a limit that was kept before:")
            + table(("Protection lost", "Failure", "Limits broken"), rows, True))


def _bounds(failures: list[Failure]) -> str:
    rows = [[f.name, f.runs, f.broken_runs, 100.0 * failure_bound(f.broken_runs, f.runs)] for f in failures]
    return (paragraph("Upper 95 % bound on the share of fingers and moments in which a failure would break a limit "
                      "with all protection (Clopper & Pearson 1934). It holds for the virtual fingers, not for people.")
            + table(("Failure", "Runs", "Runs that broke a limit", "Bound (%)"), rows, True))


def alarm_text(false_alarms: int, hours: float) -> str:
    """Alarms on physiology that is no failure, with the bound on their rate."""
    if hours <= 0.0:
        return "No physiology was run."
    bound = rate_bound_per_h(false_alarms, hours)
    return (f"{false_alarms} in {hours:.3g} finger-hours of physiology that is no failure; at most one in "
            f"{number(1.0 / bound)} finger-hours at 95 % confidence (Garwood 1936).")

