"""The guide builds without a warning, asks nobody for anything, and its pages keep to the sizes of the house."""
import os
import re
import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest

from experiments.guide import build as building
from experiments.guide.build import PAGES, TOP, assemble, build, generated_pages, lessons_see_the_sources
from plant.errors import InputError

LOADS = {"script": "src", "img": "src", "link": "href", "iframe": "src", "source": "src", "video": "src"}


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """The guide with its lessons unexecuted; CI executes them in a step of its own."""
    folder = tmp_path_factory.mktemp("guide")
    assert build(folder, execute=False) == 0
    return folder / "site"


class Loaded(HTMLParser):
    """What a page loads by itself."""

    def __init__(self):
        super().__init__()
        self.found = []

    def handle_starttag(self, tag, attrs):
        address = dict(attrs).get(LOADS.get(tag, ""))
        if address and not (tag == "link" and "canonical" in (dict(attrs).get("rel") or "")):
            self.found.append(address)


def test_nothing_is_loaded_from_elsewhere(site):
    pages = list(site.rglob("*.html"))
    assert len(pages) > 30
    for page in pages:
        loaded = Loaded()
        loaded.feed(page.read_text(encoding="utf-8"))
        assert loaded.found and not [a for a in loaded.found if re.match(r"(?:https?:)?//", a)], page.name
        missing = [a for a in loaded.found if not a.startswith("data:") and not (page.parent / a.split("?")[0]).exists()
                   and a not in ("#",) and not a.startswith(("genindex", "search"))]
        assert not missing, f"{page.name}: {missing}"
    for style in site.rglob("*.css"):
        assert not re.search(r"url\(\s*['\"]?(?:https?:)?//|@import", style.read_text(encoding="utf-8")), style.name


def test_formulas_parameters_and_docstrings_arrive(site):
    unloading = (site / "why" / "unloading.html").read_text(encoding="utf-8")
    assert "<mfrac>" in unloading and "MathJax" not in unloading
    assert "tube.length" in (site / "reference" / "python.html").read_text(encoding="utf-8")
    assert "Returns" in (site / "reference" / "python.html").read_text(encoding="utf-8")
    assert "length_m" in (site / "reference" / "plant.html").read_text(encoding="utf-8")


def test_a_warning_fails_the_build(tmp_path, monkeypatch, capsys):
    """A page with a link to nowhere."""
    pages = tmp_path / "pages"
    (pages / "reference").mkdir(parents=True)
    (pages / "static").mkdir()
    (pages / "static" / "guide.css").write_text("")
    (pages / "index.md").write_text("# Guide\n\n[nowhere](nowhere.md)\n")
    monkeypatch.setattr(building, "PAGES", pages)
    monkeypatch.setattr(building, "generated_pages", dict)
    assert build(tmp_path / "out", execute=False) == 1
    assert "nowhere.md" in capsys.readouterr().err


def test_without_pages_it_says_where_they_are(tmp_path, monkeypatch):
    monkeypatch.setattr(building, "PAGES", tmp_path)
    with pytest.raises(InputError, match="from a checkout of the sources"):
        building.require()


def test_what_is_put_together(tmp_path):
    """Pages, pictures, generated ones; what an earlier build left is gone."""
    (tmp_path / "source").mkdir()
    (tmp_path / "source" / "old.md").write_text("old")
    assemble(tmp_path / "source")
    assert not (tmp_path / "source" / "old.md").exists()
    assert (tmp_path / "source" / "pictures" / "tracking.png").is_file()
    for name, text in generated_pages().items():
        assert (tmp_path / "source" / "reference" / f"{name}.md").read_text(encoding="utf-8") == text


def test_generated_pages_are_not_kept_in_the_sources():
    assert {path.name for path in (PAGES / "reference").iterdir()} == {"index.md"}


def test_pages_are_short_and_folders_small():
    pages = [path for path in PAGES.rglob("*") if path.is_file()]
    long = [path.name for path in pages if len(path.read_text(encoding="utf-8").splitlines()) > 400]
    folders = {path.parent: 0 for path in pages}
    for path in pages:
        folders[path.parent] += 1
    assert not long and max(folders.values()) <= 20


def test_the_readme_is_short_and_its_links_lead_somewhere():
    top = Path(building.TOP)
    text = (top / "README.md").read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 150
    for address in re.findall(r"\]\(([^)#]+)", text):
        assert address.startswith("http") or (top / address).exists(), address


def test_files_that_the_texts_name_are_there():
    """A path in backticks below one of the rooms; the how-to page of a detector names one that is yet to be written."""
    top = Path(building.TOP)
    texts = [path for path in PAGES.rglob("*.md") if path.name != "detector.md"]
    named = {(path.name, name) for path in [*texts, top / "README.md", top / "DEVELOPERS.md"]
             for name in re.findall(r"`((?:plant|controller|calibrate|experiments|tests)/[\w/.*]+)`",
                                    path.read_text(encoding="utf-8"))}
    assert len(named) > 40
    assert not {(page, name) for page, name in named if not list(top.glob(name.rstrip("/")))}


def test_no_command_lost_its_indent():
    """A line of commands that begins at the margin is a paragraph, not a block."""
    for path in PAGES.rglob("*.md"):
        text = re.sub(r"(?ms)^```.*?^```", "", path.read_text(encoding="utf-8"))
        assert not re.search(r"(?m)^cuffloop .*\n    ", text), path.name


def test_this_checkout_comes_before_an_installed_package():
    """Whoever installed cuffloop and builds the guide beside it gets the pages' own sources, here and in lessons."""
    before = list(sys.path)
    with lessons_see_the_sources():
        ours = [str(TOP / "experiments" / "package"), str(TOP)]
        assert sys.path[:2] == ours and os.environ["PYTHONPATH"].split(os.pathsep)[:2] == ours
    assert sys.path == before
