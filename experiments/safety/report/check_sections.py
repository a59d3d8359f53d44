"""Sections of a report that follow from a check: verdict, rig, margins, tracking, calibration."""
from __future__ import annotations

from collections.abc import Callable
from typing import Any

from experiments.check.check import Check
from experiments.check.text import calibration_lines, check_figures, margins_lines, run_lines
from experiments.rigs.rationale import About, identifier_of, rationale_of
from experiments.rigs.requirements import FIGURES, Verdict
from experiments.rigs.table import rig_json
from experiments.safety.report.page import Raw, Section, bullets, link, paragraph, picture, table, text

WHERE = {  # which section, and which of its figures, shows a required figure
    "set_point_error_mmHg": ("calibration", "calibration"), "first_waveform_s": ("calibration", "calibration"),
    "search_s": ("calibration", "calibration"),
}
LOOP = ("gain", "phase", "delay", "modulus", "sensitivity", "crossover", "bandwidth")
WORDS = {
    "margins": "Loop gain and sensitivity of the worst operating point, with its margins",
    "budget": "What each part of the loop costs in phase at the crossover",
    "tracking": "Cuff pressure against the ideal on the record, and the error",
}


def place_of(figure: str) -> tuple[str, str]:
    """(section, figure) where a required figure is shown."""
    if figure in WHERE:
        return WHERE[figure]
    return ("margins", "figure-margins") if figure.startswith(LOOP) else ("tracking", "figure-tracking")


def verdict_rows(verdicts: list[Verdict], own: dict[str, About] | None = None) -> list[list[Any]]:
    """Identifier, requirement, limit, found, verdict, rationale, run and figure: one row a limit.

    `own` are identifiers and rationales of the requirements file itself.
    """
    rows: list[list[Any]] = []
    for verdict in verdicts:
        section, figure = place_of(verdict.figure)
        what = FIGURES[verdict.figure][1] + (f" ({verdict.limit[:-4]})" if "_" in verdict.limit else "")
        limit = f"{'≥' if verdict.limit == 'min' else '≤'} {verdict.allowed:g} {verdict.unit}"
        rows.append([
            identifier_of(verdict, own), what, limit, verdict.found, verdict.unit, verdict.passed,
            rationale_of(verdict, own), Raw(link(section)), Raw(link(figure)),
        ])
    return rows


SHORT = 14  # rows of a table that paper keeps together
RIG_HEAD = ("Parameter", "Value", "Unit", "Bounds", "Meaning", "Source")
VERDICT_HEAD = ("Id", "Requirement", "Limit", "Found", "Unit", "Verdict", "Rationale", "Run", "Shown in")


def check_sections(result: Check, command: str, own: dict[str, About] | None = None) -> list[Section]:
    """Requirements, margins with budget, tracking, calibration."""
    figures = check_figures(result)
    loops = pre(margins_lines(result.rig.name, result.loops, result.worst, result.budget))
    return [
        Section("requirements", "Requirements", table(VERDICT_HEAD, verdict_rows(result.verdicts, own), sortable=True)
                + paragraph(f"Rerun: {command}", "note")),
        Section("margins", "Margins and phase budget", _drawn(figures, ("margins", "budget")) + loops),
        Section("tracking", "Tracking on a pressure record",
                _drawn(figures, ("tracking",)) + pre(run_lines(result.run, result.tracking))
                + paragraph(f"Record: {result.run.trace.name}, {result.run.trace.source}", "note")),
        Section("calibration", "Set point: found by the instrument, and its truth",
                bullets(calibration_lines(result.calibration, result.tracking, result.best))),
    ]


def _drawn(figures: dict[str, Callable[[], Any]], names: tuple[str, ...]) -> str:
    return "".join(picture(figures[n](), WORDS[n], f"figure-{n}") for n in names if n in figures)


def pre(lines: list[str]) -> str:
    """Lines as they stand in the terminal; after an empty line and a longer block begins one that paper may part."""
    blocks: list[list[str]] = [[]]
    for line in lines:
        if not line and len(blocks[-1]) > 2:
            blocks.append([])
        else:
            blocks[-1].append(line)
    return "".join(f"<pre>{text(chr(10).join(block))}</pre>" for block in blocks if block)


def rig_section(result: Check) -> Section:
    """Every parameter of the rig with unit, bounds, meaning and source."""
    data = rig_json(result.rig)
    parts = []
    for name, values in data["tables"].items():
        rows = []
        for key, value in values.items():
            about = data["parameters"][name].get(key, {})
            bounds = "" if about.get("low") is None else f"{about['low']:g} … {about['high']:g}"
            bounds = bounds.replace("-", "−").replace(" ", "\u00a0")
            shown = value
            if isinstance(value, bool) or not isinstance(value, (int, float)):
                shown = str(value).lower() if isinstance(value, bool) else str(value)  # as in a rig file
            rows.append([key, shown, about.get("unit", ""), bounds, about.get("meaning", ""), about.get("source", "")])
        whole = ' class="part"' if len(rows) <= SHORT else ""
        parts.append(f"<div{whole}><h3>{text(name)}</h3>{table(RIG_HEAD, rows)}</div>")
    return Section("rig", "Appendix: every parameter of the rig", paragraph(data["about"]) + "".join(parts))
