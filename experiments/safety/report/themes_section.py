"""Themes of IEC 60601-1-10 (physiologic closed-loop controllers), each with the runs here that bear on it.

The themes are from memory. A simulator can support a claim of conformity; it cannot make one.
"""
from __future__ import annotations

from typing import Any, NamedTuple

from experiments.safety.report.page import Raw, Section, link, paragraph, table

NOTE = (
    "IEC 60601-1-10 covers physiologic closed-loop controllers; whether a cuff servo falls under it is for the user to "
    "decide. The themes below are from memory and are no substitute for the standard. A simulation can support a claim "
    "of conformity but cannot claim it: that needs the instrument itself, its risk management (ISO 14971) and its "
    "software life cycle (IEC 62304)."
)


class Theme(NamedTuple):
    """A theme of the standard, and what here bears on it."""

    name: str
    what: str
    section: str  # anchor of the report
    command: str


THEMES = (
    Theme("Fallback", "Every failure ends in a named fallback state; time from onset to it, and to an empty cuff",
          "faults", "cuffloop faults"),
    Theme("Logging", "Set point, measured value, output and mode of every tick can be written to a file",
          "tracking", "cuffloop simulate --trace run.csv"),
    Theme("Range limiting", "Highest cuff pressure in use and after each failure; limits on command, time at a limit",
          "faults", "cuffloop faults"),
    Theme("Responsiveness", "Crossover, bandwidth, sensitivity peak and margins of the sampled loop; error by beat",
          "margins", "cuffloop margins"),
    Theme("Steady-state deviation", "Bias and error by beat of cuff pressure on a recorded arterial pressure",
          "tracking", "cuffloop check"),
    Theme("Loss of the measured value", "Light and pressure channels stuck, stale, swapped, saturated or open",
          "faults", "cuffloop faults"),
    Theme("Disturbances", "Arrhythmia, raised hand, cold, straining and coughing must not trip a protection",
          "alarms", "cuffloop faults"),
    Theme("Validation on models of the patient", "Virtual fingers with stated, mostly invented spreads",
          "calibration", "cuffloop search --fingers 1000"),
)


def themes_section(anchors: set[str]) -> Section:
    """The mapping, with links to those sections that the report has."""
    rows: list[list[Any]] = []
    for theme in THEMES:
        where: Any = Raw(link(theme.section)) if theme.section in anchors else "not in this report"
        rows.append([theme.name, theme.what, where, theme.command])
    return Section("themes", "Themes of IEC 60601-1-10",
                   paragraph(NOTE) + table(("Theme", "What bears on it", "Section", "Command"), rows))
