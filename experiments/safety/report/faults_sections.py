"""Sections of a report that follow from a study of failures: the short answer, the table, single points, bounds."""
from __future__ import annotations

import math
from typing import Any, NamedTuple

from experiments.safety.faults.confidence import failure_bound, rate_bound_per_h
from experiments.safety.report.failure_table import (
    COLUMNS,
    Failure,
    Row,
    broken_words,
    rows_of,
    single_points,
    worst_loss,
)
from experiments.safety.report.page import Raw, Section, image, link, number, paragraph, table
from experiments.safety.report.scales import Scales

WIDTHS = (8, 6.5, 9, 12, 11, 7.5, 2, 2, 2, 3, 5, 6, 5, 5, 7, 9)  # of the columns of the table, in per cent


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


def worst_failure(evidence: Evidence) -> Failure:
    """The failure that can press hardest on the finger, with all protection or once any one of them is gone."""
    return max(evidence.failures, key=lambda f: max(o.highest_mmHg for o in (f.protected, *f.without.values())))


def short_answer(evidence: Evidence) -> list[tuple[str, str]]:
    """The worst failure, what catches it, what happens when that is gone; what nothing contains; what stays silent."""
    worst, failures = worst_failure(evidence), evidence.failures
    kept, number_of = worst.protected, len(evidence.failures)
    lines = [
        ("The worst failure", f"{plain_name(worst.name)} ({worst.item}: {worst.mode}). With all protection at most "
                              f"{kept.highest_mmHg:.0f} mmHg on the finger; {broken_words(kept.broken)}."),
        ("What catches it", _caught(worst)),
    ]
    catcher = next((name for name in worst.without if plain_name(name) == worst.detection), "")
    loss = worst_loss(worst)
    if catcher:
        lines.append(("When that is gone", _lost(worst, catcher)))
    if loss and loss != catcher:
        lines.append(("Its worst loss", _lost(worst, loss)))
    loose = [f"{plain_name(f.name)} ({broken_words(f.protected.broken)})" for f in failures if f.protected.broken]
    lines.append(("Not contained", f"Even with all protection: {', '.join(loose)}." if loose else
                  f"None: with all protection no failure of {number_of} breaks a limit."))
    silent = [f for f in failures if f.protected.wrong_s > 30.0]
    if silent:
        quiet = max(silent, key=lambda f: f.protected.wrong_s)
        lines.append(("Worst silent failure", f"{plain_name(quiet.name)}: up to {quiet.protected.wrong_mmHg:.0f} mmHg "
                      f"wrong for {quiet.protected.wrong_s:.0f} s with no warning; of the {number_of} "
                      f"failures {len(silent)} {'reads' if len(silent) == 1 else 'read'} more than 10 mmHg wrong for "
                      "over 30 s unsaid."))
    else:
        lines.append(("Worst silent failure", "None reads more than 10 mmHg wrong for over 30 s without a warning."))
    points = single_points(failures)
    pairs = f"{len(points)} pairs" if len(points) > 1 else "1 pair"
    lines.append(("Single points", Raw(
        f"{pairs} of one lost protection and one failure break{'s' if len(points) == 1 else ''} a limit "
        f"({link('points')}; all failures in {link('faults')})."
        if points else "No single lost protection lets any one failure break a limit.")))
    return lines


def plain_name(name: str) -> str:
    """A name of the catalogue as words."""
    return name.replace("_", " ")


def _lost(failure: Failure, name: str) -> str:
    lost = failure.without[name]
    return f"Without {plain_name(name)}: {lost.highest_mmHg:.0f} mmHg; {broken_words(lost.broken)}."


def _caught(failure: Failure) -> str:
    if failure.missed_runs == failure.runs:
        return "Nothing notices it."
    vent = failure.protected.vent_s
    vented = f"; the cuff is empty {_time(vent)} after it is vented" if math.isfinite(vent) else ""
    missed = f"; {failure.missed_runs} of {failure.runs} runs go unnoticed" if failure.missed_runs else ""
    first = failure.detection[:1].upper() + failure.detection[1:]
    return f"{first} catches it first, after {_time(failure.detect_median_s)} (median){vented}{missed}."


def _time(seconds: float) -> str:
    return f"{seconds:.2f} s" if seconds >= 0.1 else f"{max(1000.0 * seconds, 1.0):.0f} ms"


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
        Section("points", "Single points of failure", _points(evidence.failures)),
        Section("bounds", "How sure: bounds on probabilities", _bounds(evidence.failures)),
        Section("alarms", "False alarms", paragraph(alarm_text(evidence.false_alarms, evidence.physiology_h))),
    ]


def _cells(rows: list[Row]) -> list[list[Any]]:
    words = ("name", "worst_without")  # identifiers, which people read as words
    return [[plain_name(getattr(row, c)) if c in words else getattr(row, c) for c in COLUMNS] for row in rows]


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

