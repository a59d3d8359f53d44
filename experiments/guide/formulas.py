"""Formulas as MathML, which browsers set themselves: a page then needs no script and asks nobody for one."""
from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sphinx.application import Sphinx

NAME = "mathml"
UNKNOWN = ("\\begin{align", "&")  # what the converter lets through as letters


def formula(latex: str, block: bool) -> str:
    """A formula as a MathML element. Raises ValueError for what cannot be converted, alignment at & among it."""
    from latex2mathml.converter import convert

    if any(sign in latex for sign in UNKNOWN) and "\\begin{cases}" not in latex:
        raise ValueError(f"formula {latex!r}: write one formula a line, without alignment")
    try:
        found: str = convert(latex, display="block" if block else "inline")
    except Exception as error:  # the converter has many of its own
        raise ValueError(f"formula {latex!r}: {type(error).__name__} {error}") from None
    if "\\" in found or latex.count("{") != latex.count("}") or latex.count("\\left") > latex.count("\\right"):
        raise ValueError(f"formula {latex!r}: an unknown command, or a bracket that is not closed")
    return found


def inline_formula(translator: Any, node: Any) -> None:
    """Write an inline formula into a page."""
    _write(translator, node, False)


def block_formula(translator: Any, node: Any) -> None:
    """Write a formula on a line of its own; it scrolls by itself where the page is narrow."""
    translator.body.append('<div class="formula">')
    _write(translator, node, True)
    translator.body.append("</div>\n")


def _write(translator: Any, node: Any, block: bool) -> None:
    from docutils.nodes import SkipNode
    from sphinx.util import logging

    try:
        translator.body.append(formula(node.astext(), block))
    except ValueError as error:
        logging.getLogger(__name__).warning("%s", error, location=node)
        translator.body.append(f"<code>{escape(node.astext())}</code>")
    raise SkipNode


def setup(app: Sphinx) -> dict[str, Any]:
    """Register the renderer with Sphinx."""
    app.add_html_math_renderer(NAME, (inline_formula, None), (block_formula, None))
    return {"parallel_read_safe": True, "parallel_write_safe": True}
