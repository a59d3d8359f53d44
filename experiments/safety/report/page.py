"""One self-contained HTML page: sections, tables that can be sorted, figures inside the file. Loads nothing."""
from __future__ import annotations

import base64
import html
import io
import re
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

CSS = """
:root { color-scheme: light; }
body { font: 15px/1.5 system-ui, sans-serif; color: #1b1b1b; max-width: 66rem; margin: 2rem auto; padding: 0 1rem;
  overflow-wrap: break-word; }
h1 { font-size: 1.7rem; margin: 0 0 .3rem; } h2 { font-size: 1.25rem; margin: 2.4rem 0 .5rem; }
h3 { font-size: 1.05rem; margin: 1.5rem 0 .3rem; }
h2 { border-top: 2px solid #ccc; padding-top: .8rem; }
nav a { display: inline-block; margin-right: 1.1em; } a { color: #00507d; }
.caution { border: 1px solid #888; border-left: 6px solid #D55E00; padding: .5rem .9rem; margin: 1rem 0; }
.short { border: 1px solid #888; border-left: 6px solid #0072B2; padding: .5rem .9rem; margin: 1rem 0; }
.short h2 { border: 0; margin: 0 0 .3rem; padding: 0; font-size: 1.1rem; }
dl { display: grid; grid-template-columns: max-content 1fr; gap: .3rem 1.2rem; margin: .3rem 0; }
dt { font-weight: 700; } dd { margin: 0; }
.wide { overflow-x: auto; }
.broad { width: min(96vw, 100rem); margin-left: calc(50% - min(48vw, 50rem)); }
.broad th, .broad td { padding: .2rem .35rem; font-size: .8rem; } .broad td:first-child { font-weight: 600; }
.broad table { width: max(100%, 70rem); }
table { border-collapse: collapse; margin: .6rem 0; font-size: .87rem; }
th, td { border: 1px solid #ccc; padding: .25rem .5rem; text-align: left; vertical-align: top; }
th { background: #f0f0f0; vertical-align: bottom; }
th button { font: inherit; color: inherit; background: none; border: 0; padding: 0; cursor: pointer; text-align: left; }
th button::after { content: " \\2195"; color: #777; }
th[aria-sort=ascending] button::after { content: " \\2191"; color: #1b1b1b; }
th[aria-sort=descending] button::after { content: " \\2193"; color: #1b1b1b; }
td.number { text-align: right; font-variant-numeric: tabular-nums; white-space: nowrap; }
td a { white-space: nowrap; }
td.code { font-family: ui-monospace, monospace; overflow-wrap: anywhere; }
.fail { font-weight: 700; } .fail::before { content: "\\2717\\00a0"; } .pass::before { content: "\\2713\\00a0"; }
figure { margin: 1rem 0; break-inside: avoid; } figure img { max-width: 100%; height: auto; }
figcaption, .note { font-size: .85rem; color: #444; }
code, pre { font-size: .85rem; background: #f4f4f4; }
pre { padding: .6rem; overflow-x: auto; }
@media screen { .broad th { min-width: calc(var(--share) * .56rem); } }
@media (max-width: 60rem) {
  dl { grid-template-columns: 1fr; gap: 0; } dd { margin-bottom: .5rem; } pre { font-size: .72rem; }
}
@page { size: A4; margin: 15mm 14mm 17mm; }
@page broad { size: A4 landscape; }
@page {
  @bottom-left { content: "cuffloop: a design and teaching tool, not a medical device"; font: 7.5pt sans-serif; }
  @bottom-right { content: counter(page) " of " counter(pages); font: 7.5pt sans-serif; }
}
@media print {
  body { max-width: none; margin: 0; padding: 0; font-size: 9.5pt; line-height: 1.4; }
  a { color: inherit; text-decoration: none; } .screen { display: none; }
  h1 { font-size: 16pt; } h2 { font-size: 12.5pt; margin-top: 7mm; padding-top: 2mm; }
  h2, h3, .lead { break-after: avoid; } p, li, dd { orphans: 3; widows: 3; }
  tr, pre, .part, .caution, .short { break-inside: avoid; } thead { display: table-header-group; }
  dl { grid-template-columns: max-content 1fr; gap: 1mm 5mm; }
  .wide { overflow: visible; padding-right: 1px; } table { font-size: 8pt; } th, td { padding: .6mm 1.4mm; }
  .across { page: broad; } .broad { width: auto; margin: 0; } .broad table { width: 100%; }
  .broad th, .broad td { font-size: 7.5pt; padding: .5mm 1mm; }
  figcaption, .note { font-size: 8.5pt; }
  th button { display: contents; } th button::after, th[aria-sort] button::after { content: ""; }
  pre { font-size: 7.5pt; white-space: pre-wrap; line-height: 1.3; }
  figure img { max-height: 112mm; } figure.tall img { max-height: 238mm; }
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


def answers(pairs: Iterable[tuple[object, object]]) -> str:
    """Short questions, each beside its answer. Answers that are `Raw` are taken as HTML."""
    return "<dl>" + "".join(f"<dt>{text(q)}</dt><dd>{a if isinstance(a, Raw) else text(a)}</dd>"
                            for q, a in pairs) + "</dl>"


def link(anchor: str, words: object = "") -> str:
    """A link within the page; without words `page` puts the number of the section or figure, which paper needs."""
    return f'<a href="#{text(anchor)}">{text(words)}</a>'


class Raw(str):
    """A cell that is HTML already."""


class Code(str):
    """A cell that may be broken anywhere, such as a path."""


def table(
    head: Sequence[str], rows: Iterable[Sequence[Any]], sortable: bool = False, widths: Sequence[float] = ()
) -> str:
    """A table; numbers to the right. Cells that are `Raw` are taken as HTML. With `widths` of its columns [%] it is as
    broad as the window, or the paper.
    """
    sizes = [f' style="width:{width:g}%;--share:{width:g}"' for width in widths] or [""] * len(head)
    words = [f"<button>{text(h)}</button>" if sortable else text(h) for h in head]
    top = "".join(f"<th{size}>{word}</th>" for size, word in zip(sizes, words, strict=True))
    lines = "".join("<tr>" + "".join(_cell(value) for value in row) + "</tr>" for row in rows)
    kind = "wide broad" if widths else "wide"
    return f'<div class="{kind}"><table><thead><tr>{top}</tr></thead><tbody>{lines}</tbody></table></div>'


def _cell(value: Any) -> str:
    if isinstance(value, Raw):
        return f"<td>{value}</td>"
    if isinstance(value, Code):
        return f'<td class="code">{text(value)}</td>'
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
    """A Matplotlib figure inside the page, fine enough for paper. `words` say it to those who cannot see it."""
    data = io.BytesIO()
    figure.savefig(data, format="png", dpi=160)
    return image(data.getvalue(), words, anchor, caption, width=round(110 * figure.get_figwidth()))


def image(png: bytes, words: str, anchor: str = "", caption: str = "", tall: bool = False, width: int = 0) -> str:
    """A PNG inside the page, on the screen `width` wide [pixels]; a tall one may fill a sheet of paper."""
    code = base64.b64encode(png).decode()
    place = f' id="{text(anchor)}"' if anchor else ""
    shape, size = ' class="tall"' if tall else "", f' width="{width}"' if width else ""
    return (f'<figure{place}{shape}><img alt="{text(words)}"{size} src="data:image/png;base64,{code}">'
            f"<figcaption>{text(caption or words)}</figcaption></figure>")


def page(title: str, lead: str, sections: Sequence[Section]) -> str:
    """The whole page, sections and figures numbered. `lead` is HTML between the title and the first section."""
    titles = {s.anchor: f"{i}. {s.title}" for i, s in enumerate(sections, 1)}
    contents = "".join(link(anchor, title) + " " for anchor, title in titles.items())
    body = "".join(f'<section id="{text(s.anchor)}"><h2>{text(titles[s.anchor])}</h2>{s.body}</section>'
                   for s in sections)
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta name="viewport" content="width=device-width, initial-scale=1"><title>{text(title)}</title>'
        f"<style>{CSS}</style></head><body><h1>{text(title)}</h1>"
        + _numbered(f"{lead}<nav>{contents}</nav>{body}", {s.anchor: f"section {i}" for i, s in enumerate(sections, 1)})
        + f"<script>{SORT}</script></body></html>\n"
    )


def _numbered(body: str, places: dict[str, str]) -> str:
    """Captions with the number of their figure, and links without words with that of what they lead to."""
    named = {text(anchor): number for anchor, number in places.items()}
    parts = body.split("<figure")
    for i, part in enumerate(parts[1:], 1):
        anchor = re.match(r' id="([^"]*)"', part)
        if anchor:
            named[anchor[1]] = f"figure {i}"
        parts[i] = part.replace("<figcaption>", f"<figcaption>Figure {i}: ", 1)
    return re.sub(r'<a href="#([^"]*)"></a>', lambda m: f'<a href="#{m[1]}">{named.get(m[1], m[1])}</a>',
                  "<figure".join(parts))
