"""Build the guide: pages and generated reference into one folder, Sphinx over it, and no warning let through."""
from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from experiments.guide.formulas import NAME as MATHML
from experiments.guide.parameters import TOP
from experiments.work.output import own_version
from plant.errors import InputError

PAGES = Path(__file__).parent / "pages"
PICTURES = TOP / "experiments" / "pictures"
PACKAGES = ("sphinx", "myst_nb", "furo", "latex2mathml")
LONGEST_CELL_s = 300
GENERATED = "reference"
LIVE = Path("static") / "live.html"
NOT_EXECUTED = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Live figure</title><link rel="icon" href="data:,"></head>
<body><p>The live figure was left out: these pages were built without lessons.</p></body></html>
"""

SETTINGS: dict[str, Any] = {
    "project": "cuffloop", "copyright": "the cuffloop developers", "author": "the cuffloop developers",
    "extensions": ["myst_nb", "experiments.guide.docstrings", "experiments.guide.formulas"],
    "html_theme": "furo", "html_title": "cuffloop", "html_static_path": ["static"], "html_css_files": ["guide.css"],
    "html_math_renderer": MATHML, "html_copy_source": False, "html_show_sourcelink": False,
    "html_theme_options": {"announcement": "A design and teaching tool. Not a medical device."},
    "myst_enable_extensions": ["dollarmath", "deflist", "colon_fence"], "myst_heading_anchors": 3,
    "myst_update_mathjax": False, "nb_ipywidgets_js": {},
    "nb_execution_mode": "force", "nb_execution_raise_on_error": True, "nb_execution_timeout": LONGEST_CELL_s,
    "nb_merge_streams": True, "nb_execution_show_tb": True,
    "default_role": "code", "autodoc_member_order": "bysource", "autodoc_typehints": "none",
    "python_use_unqualified_type_names": True,
    "exclude_patterns": [], "suppress_warnings": [], "show_warning_types": True, "language": "en",
    "smartquotes": False, "pygments_style": "tango",
}


def build(folder: Path, execute: bool = True) -> int:
    """Build the guide into `folder`: pages in `folder/site`, sources as they were put together in `folder/source`.

    Returns 0, or 1 where Sphinx had a warning or a lesson failed. Raises InputError without the packages it needs, or
    without the pages, which a checkout has and an installed package has not.
    """
    require()
    source = folder / "source"
    with lessons_see_the_sources():
        return _built(source, folder, execute)


def _built(source: Path, folder: Path, execute: bool) -> int:
    assemble(source)
    (source / LIVE).write_text(live_figure() if execute else NOT_EXECUTED, encoding="utf-8")
    from sphinx.application import Sphinx
    from sphinx.errors import SphinxError
    from sphinx.util.docutils import docutils_namespace, patch_docutils

    settings = SETTINGS | {"version": own_version(), "release": own_version()}
    if not execute:
        settings |= {"nb_execution_mode": "off", "suppress_warnings": ["myst-nb.lexer"]}
    with docutils_namespace(), patch_docutils(str(source)):
        try:
            app = Sphinx(str(source), None, str(folder / "site"), str(folder / "kept"), "html", settings,
                         freshenv=True, warningiserror=True, status=None, warning=sys.stderr)
            app.build()
        except SphinxError as error:
            print(error, file=sys.stderr)
            return 1
        return int(app.statuscode)


def require() -> None:
    """Raise InputError where a package of the extra `guide`, or the pages, are missing."""
    from importlib.util import find_spec

    for package in PACKAGES:
        if find_spec(package) is None:
            raise InputError(f"the guide needs the package {package}: pip install 'cuffloop[guide]'")
    if not (PAGES / "index.md").is_file():
        raise InputError(f"{PAGES}: no pages here; build the guide from a checkout of the sources")


def assemble(source: Path) -> None:
    """Put pages, pictures and the generated reference into a folder, anew."""
    shutil.rmtree(source, ignore_errors=True)
    shutil.copytree(PAGES, source)
    shutil.copytree(PICTURES, source / "pictures")
    for name, text in generated_pages().items():
        (source / GENERATED / f"{name}.md").write_text(text, encoding="utf-8")


def live_figure() -> str:
    """The figure that a page of the guide shows in a frame: the built-in rig on a synthetic record."""
    from experiments.bench.offline.section import page_or_reason
    from experiments.bench.setup import source, usual_setup, whole_record

    setup = usual_setup("wrist")._replace(record="synthetic")
    rig = source(setup, "wrist").rig()
    record = whole_record(setup, rig.timing.period_s)
    return page_or_reason(rig, record, "cuffloop bench wrist --record synthetic --offline live.html")


def generated_pages() -> dict[str, str]:
    """Every page that is made from the sources, by its name in the reference."""
    from experiments.guide.listings import command_page, name_page, python_page
    from experiments.guide.parameters import parameter_pages

    makers: dict[str, Callable[[], str]] = {"commands": command_page, "names": name_page, "python": python_page}
    return parameter_pages() | {name: make() for name, make in makers.items()}


@contextmanager
def lessons_see_the_sources() -> Iterator[None]:
    """This checkout before whatever is installed, here and in the processes that run lessons; one thread for BLAS."""
    ours = [str(TOP / "experiments" / "package"), str(TOP)]
    before = {name: os.environ.get(name) for name in ("PYTHONPATH", "OPENBLAS_NUM_THREADS")}
    os.environ["PYTHONPATH"] = os.pathsep.join([*ours, *filter(None, [before["PYTHONPATH"]])])
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    path = list(sys.path)
    sys.path[:0] = ours
    try:
        yield
    finally:
        sys.path[:] = path
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
