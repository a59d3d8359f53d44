"""Sections of a report that follow from a study of failures: the short answer, the table, single points, bounds."""
from __future__ import annotations

from typing import Any, NamedTuple

from experiments.safety.faults.confidence import failure_bound, rate_bound_per_h
from experiments.safety.faults.findings import Failure, broken_words, single_points
from experiments.safety.faults.first_minute import first_minute, plain_name
from experiments.safety.report.failure_table import COLUMNS, Row, rows_of
from experiments.safety.report.hazards import hazard_rows
from experiments.safety.report.limit_table import LIMIT_HEAD, limit_rows
from experiments.safety.report.page import Raw, Section, bullets, image, link, number, paragraph, table, text
from experiments.safety.report.scales import Scales

WIDTHS = (7.5, 5, 7.5, 8, 6.5, 8, 9, 6, 8, 2, 2, 2, 3, 4.5, 5.5, 4.5, 4, 7)  # of the columns of the table, in per cent
HAZARD_HEAD = ("Id", "Hazard", "Hazardous situation", "Possible harm", "Failures that led to it in some run",
               "Controls that a limit rests on", "Not contained")


class Evidence(NamedTuple):
    """What a study of failures left behind."""

    failures: list[Failure]
    limits: tuple[str, ...]  # in words
    scales: Scales
    physiology_h: float  # finger-hours of physiology run with all protection
    false_alarms: int
    figures: dict[str, tuple[bytes, str]]  # name: (PNG, what it shows)
    command: str
    excluded: dict[str, str] = {}  # noqa: RUF012 (never changed): failures that the rig cannot have, and why
    allowed: dict[str, float] = {}  # noqa: RUF012 (never changed): the limits, by the names of a requirements file


def short_answer(evidence: Evidence) -> list[tuple[str, Raw]]:
    """What is not contained, the worst that is, what catches it and the removal that breaks a limit, as HTML."""
    found = [(answer.question, Raw(_lines(answer.lines))) for answer in first_minute(evidence.failures)]
    where = f" {link('faults', 'All failures')}, {link('limits', 'limits')}, {link('points', 'single points')}."
    question, last = found[-1]
    return [*found[:-1], (question, Raw(last + where))]


def _lines(lines: tuple[str, ...]) -> str:
    """The first line, and the others as a list under it."""
    return text(lines[0]) + (bullets(lines[1:]) if len(lines) > 1 else "")


def faults_sections(evidence: Evidence) -> list[Section]:
    """Failure-mode table, single points of failure, bounds on probabilities, false alarms."""
    rows = rows_of(evidence.failures, evidence.scales)
    figures = "".join(image(png, words, f"figure-{name}", tall=name == "matrix")
                      for name, (png, words) in evidence.figures.items())
    about = (
        "Severity × occurrence × detection, from 1 to 10 each, in the manner of IEC 60812. Scales: "
        f"{evidence.scales.about or 'of the user'}. Occurrence cannot be known from a simulation. "
        "Worst over all runs with all protection; detection counts as never when one run was missed."
    )
    left_out = "; ".join(f"{plain_name(name)} ({why})" for name, why in evidence.excluded.items())
    hint = '<p class="note screen">Click a heading to sort.</p>'
    modes = (paragraph(about, "lead") + hint + table(tuple(COLUMNS.values()), _cells(rows), True, WIDTHS)
             + paragraph("Limits: " + "; ".join(evidence.limits), "note")
             + (paragraph(f"Not applicable to this rig: {left_out}", "note") if left_out else "")
             + paragraph(f"Rerun: {evidence.command}", "note"))
    return [
        Section("faults", "Failures", f'{figures}<div class="across">{modes}</div>'),
        Section("limits", "Limits for failures",
                table(LIMIT_HEAD, limit_rows(evidence.failures, evidence.allowed), True)),
        Section("hazards", "Hazards, harms, controls", paragraph(
            "Terms of ISO 14971, from memory and in general words. A failure counts where its runs broke a limit, with "
            "all protection or without one. How likely harm is nobody can know from a simulation.", "lead")
            + table(HAZARD_HEAD, hazard_rows(evidence.failures), True)),
        Section("points", "Single points of failure", _points(evidence.failures)),
        Section("bounds", "How sure: bounds on probabilities", _bounds(evidence.failures)),
        Section("alarms", "False alarms", paragraph(alarm_text(evidence.false_alarms, evidence.physiology_h))),
    ]


def _cells(rows: list[Row]) -> list[list[Any]]:
    return [[plain_name(row.name) if c == "name" else getattr(row, c) for c in COLUMNS] for row in rows]


def _points(failures: list[Failure]) -> str:
    points = single_points(failures)
    if not points:
        return paragraph("No protection, taken away alone, lets any single failure of the catalogue break a limit.")
    rows = [[plain_name(protection), plain_name(name), broken_words(limits)] for protection, name, limits in points]
    words = "Every protection whose loss, together with one failure, breaks a limit that was kept before:"
    return (paragraph(words, "lead") + table(("Protection lost", "Failure", "What then breaks"), rows, True))


def _bounds(failures: list[Failure]) -> str:
    rows = [[plain_name(f.name), f.runs, f.broken_runs, 100.0 * failure_bound(f.broken_runs, f.runs)]
            for f in failures if f.broken_runs]
    whole = sorted({f.runs for f in failures if not f.broken_runs})
    for runs in whole:
        number_of = sum(not f.broken_runs and f.runs == runs for f in failures)
        which = "every failure" if number_of == len(failures) else f"each of the other {number_of} failures"
        rows.append([which if len(whole) == 1 else f"each of {number_of} failures", runs, 0,
                     100.0 * failure_bound(0, runs)])
    return (paragraph("Upper 95 % bound on the share of fingers and moments in which a failure would break a limit "
                      "with all protection (Clopper & Pearson 1934). It holds for the virtual fingers, not for people.",
                      "lead")
            + table(("Failure", "Runs", "Runs that broke a limit", "Bound (%)"), rows, True))


def alarm_text(false_alarms: int, hours: float) -> str:
    """Alarms on physiology that is no failure, with the bound on their rate."""
    if hours <= 0.0:
        return "No physiology was run."
    bound = rate_bound_per_h(false_alarms, hours)
    return (f"{false_alarms} in {hours:.3g} finger-hours of physiology that is no failure; at most one in "
            f"{number(1.0 / bound)} finger-hours at 95 % confidence (Garwood 1936).")

