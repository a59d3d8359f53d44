"""Docstrings for Sphinx: sections such as `Args:` of functions and classes are laid out, one-line ones stay.

Sphinx's own extension takes whatever stands before a colon in the docstring of an attribute for its type.
"""
from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sphinx.application import Sphinx

LAID_OUT = ("function", "method", "class", "exception")


def laid_out(app: Sphinx | None, what: str, name: str, found: object, options: Any, lines: list[str]) -> None:
    """Rewrite the lines of a docstring in place, as Sphinx's event `autodoc-process-docstring` asks."""
    if what not in LAID_OUT:
        return
    from sphinx.ext.napoleon import Config, GoogleDocstring

    config = Config(napoleon_use_rtype=False, napoleon_use_param=True)
    lines[:] = GoogleDocstring(lines, config, app, what, name, found, None).lines()


def setup(app: Sphinx) -> dict[str, Any]:
    """Register with Sphinx."""
    app.setup_extension("sphinx.ext.autodoc")
    app.connect("autodoc-process-docstring", laid_out)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
