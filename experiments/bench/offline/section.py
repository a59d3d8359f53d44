"""The live figure inside another page: a frame that holds the whole of it, and grows to its height."""
from __future__ import annotations

import html

from experiments.bench.offline.figure import figure_page
from experiments.bench.offline.scene import scene_of
from experiments.bench.offline.webassembly import linker
from experiments.check.judged import operating_pressures
from experiments.rigs.rig import Rig
from experiments.safety.report.page import Section, paragraph
from plant.errors import InputError
from plant.pressure.record import PressureTrace

TITLE = "Live figure: gain, dead time and set point"
STYLE = "width:100%;height:64rem;border:1px solid #ccc;break-inside:avoid"
REASON = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>{title}</title><link rel="icon" href="data:,"></head>
<body><p>The live figure was left out when these pages were built: {reason}.</p></body></html>
"""
GROW = """<script>
addEventListener("message", (event) => {
  const height = event.data && event.data.liveHeight;
  if (!(height > 0)) return;
  for (const frame of document.querySelectorAll("iframe")) {
    if (frame.contentWindow === event.source) frame.style.height = `${height + 2}px`;
  }
});
</script>"""


def live_section(rig: Rig, record: PressureTrace, command: str) -> Section:
    """A section of a report with the figure in it or, where it cannot be made here, the reason."""
    try:
        page = page_of(rig, record, command)
    except InputError as error:
        return Section("live", TITLE, paragraph(f"Left out: {error}."))
    return Section("live", TITLE, paragraph(
        "Turn the sliders: the clamp runs in this file, offline. Margins are looked up, at the true light slope; those "
        "of the requirements above are judged with the slope that the search has found.", "note") + framed(page))


def framed(page: str) -> str:
    """A frame that holds a whole page, apart from the one around it."""
    return (f'<iframe title="{TITLE}" sandbox="allow-scripts" style="{STYLE}" srcdoc="{html.escape(page, quote=True)}">'
            f"</iframe>{GROW}")


def page_of(rig: Rig, record: PressureTrace, command: str) -> str:
    """The figure of a rig on a record. Raises InputError, at once where there is no linker."""
    linker()
    return figure_page(scene_of(rig, record, operating_pressures(record)), command)


def page_or_reason(rig: Rig, record: PressureTrace, command: str) -> str:
    """The figure as a page of its own or, where it cannot be made here, a page with the reason."""
    try:
        return page_of(rig, record, command)
    except InputError as error:
        return REASON.format(title=TITLE, reason=html.escape(str(error)))
