"""One self-contained HTML page: sections, tables that can be sorted, figures inside the file. Loads nothing."""
from __future__ import annotations

import base64
import html
import io
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

CSS = """
:root { color-scheme: light; }
body { font: 15px/1.5 system-ui, sans-serif; color: #1b1b1b; max-width: 66rem; margin: 2rem auto; padding: 0 1rem; }
h1 { font-size: 1.7rem; margin: 0 0 .3rem; } h2 { font-size: 1.25rem; margin: 2.4rem 0 .5rem; }
h3 { font-size: 1.05rem; margin: 1.5rem 0 .3rem; }
h2 { border-top: 2px solid #ccc; padding-top: .8rem; }
nav a { margin-right: 1.1em; white-space: nowrap; } a { color: #00507d; }
.caution { border: 1px solid #888; border-left: 6px solid #D55E00; padding: .5rem .9rem; margin: 1rem 0; }
.short { border: 1px solid #888; border-left: 6px solid #0072B2; padding: .5rem .9rem; margin: 1rem 0; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; margin: .6rem 0; font-size: .87rem; }
th, td { border: 1px solid #ccc; padding: .25rem .5rem; text-align: left; vertical-align: top; }
th { background: #f0f0f0; } th button { font: inherit; background: none; border: 0; padding: 0; cursor: pointer; }
th button::after { content: " \\2195"; color: #777; }
th[aria-sort=ascending] button::after { content: " \\2191"; color: #1b1b1b; }
th[aria-sort=descending] button::after { content: " \\2193"; color: #1b1b1b; }
td.number { text-align: right; font-variant-numeric: tabular-nums; white-space: nowrap; }
.fail { font-weight: 700; } .fail::before { content: "\\2717\\00a0"; } .pass::before { content: "\\2713\\00a0"; }
figure { margin: 1rem 0; break-inside: avoid; } figure img { max-width: 100%; height: auto; }
figcaption, .note { font-size: .85rem; color: #444; }
code, pre { font-size: .85rem; background: #f4f4f4; }
pre { padding: .6rem; white-space: pre-wrap; word-break: break-word; }
@media screen { td:not(.number) { min-width: 6rem; } }
@media print {
  body { max-width: none; margin: 0; font-size: 10pt; } nav { display: none; } a { color: inherit; }
  h2 { break-after: avoid; } tr { break-inside: avoid; } .wide { overflow: visible; } table { font-size: 7.5pt; }
  th button::after { content: ""; }
}
"""

SORT = """
for (const button of document.querySelectorAll("th button")) button.addEventListener("click", () => {
  const head = button.parentElement, row = head.parentElement, at = [...row.children].indexOf(head);
  const up = head.getAttribute("aria-sort") !== "ascending";
  for (const other of row.children) other.removeAttribute("aria-sort");
  head.setAttribute("aria-sort", up ? "ascending" : "descending");
  const body = head.closest("table").tBodies[0];
  const value = line => line.children[at].dataset.value ?? line.children[at].textContent;
  const rows = [...body.rows].sort((a, b) => {
    const x = value(a), y = value(b), p = Number(x), q = Number(y);
    const order = x !== "" && y !== "" && !isNaN(p) && !isNaN(q) ? p - q : x.localeCompare(y);
    return up ? order : -order;
  });
  body.append(...rows);
});
"""


class Section(NamedTuple):
    """A part of the page: anchor, heading, and its body as HTML."""

    anchor: str
    title: str
    body: str


def text(words: object) -> str:
    """Words made safe."""
    return html.escape(str(words))


def paragraph(words: object, kind: str = "") -> str:
    """A paragraph of plain words."""
    return f"<p{f' class={kind!r}' if kind else ''}>{text(words)}</p>"


def bullets(lines: Iterable[object]) -> str:
    """A list of plain words."""
    return "<ul>" + "".join(f"<li>{text(line)}</li>" for line in lines) + "</ul>"


def link(anchor: str, words: object) -> str:
    """A link within the page."""
    return f'<a href="#{text(anchor)}">{text(words)}</a>'


class Raw(str):
    """A cell that is HTML already."""


def table(head: Sequence[str], rows: Iterable[Sequence[Any]], sortable: bool = False) -> str:
    """A table; numbers to the right. Cells that are `Raw` are taken as HTML."""
    top = "".join(f"<th><button>{text(h)}</button></th>" if sortable else f"<th>{text(h)}</th>" for h in head)
    lines = "".join("<tr>" + "".join(_cell(value) for value in row) + "</tr>" for row in rows)
    return f'<div class="wide"><table><thead><tr>{top}</tr></thead><tbody>{lines}</tbody></table></div>'


def _cell(value: Any) -> str:
    if isinstance(value, Raw):
        return f"<td>{value}</td>"
    if isinstance(value, bool):
        return f'<td><span class="{"pass" if value else "fail"}">{"pass" if value else "FAIL"}</span></td>'
    if isinstance(value, (int, float)):
        return f'<td class="number" data-value="{_sortable(float(value))}">{text(number(value))}</td>'
    return f"<td>{text(value)}</td>"


def _sortable(value: float) -> str:
    return "1e308" if value == float("inf") else "-1e308" if value != value else repr(value)


def number(value: float) -> str:
    """A number for reading: three figures or so; never for infinite, a dash for none."""
    if isinstance(value, int):
        return str(value)
    if value != value:
        return "–"
    if value in (float("inf"), float("-inf")):
        return "never" if value > 0 else "−∞"
    shown = f"{value:.0f}" if abs(value) >= 1000.0 else f"{value:.3g}"
    return shown.replace("-", "−")


def picture(figure: Any, words: str, anchor: str = "", caption: str = "") -> str:
    """A Matplotlib figure inside the page. `words` say what it shows to those who cannot see it."""
    data = io.BytesIO()
    figure.savefig(data, format="png", dpi=110)
    return image(data.getvalue(), words, anchor, caption)


def image(png: bytes, words: str, anchor: str = "", caption: str = "") -> str:
    """A PNG inside the page."""
    code = base64.b64encode(png).decode()
    place = f' id="{text(anchor)}"' if anchor else ""
    return (f'<figure{place}><img alt="{text(words)}" src="data:image/png;base64,{code}">'
            f"<figcaption>{text(caption or words)}</figcaption></figure>")


def page(title: str, lead: str, sections: Sequence[Section]) -> str:
    """The whole page. `lead` is HTML between the title and the first section."""
    contents = "".join(link(section.anchor, section.title) + " " for section in sections)
    body = "".join(f'<section id="{text(s.anchor)}"><h2>{text(s.title)}</h2>{s.body}</section>' for s in sections)
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta name="viewport" content="width=device-width, initial-scale=1"><title>{text(title)}</title>'
        f"<style>{CSS}</style></head><body><h1>{text(title)}</h1>{lead}<nav>{contents}</nav>{body}"
        f"<script>{SORT}</script></body></html>\n"
    )
