"""The figure inside a report, or the reason why it is not."""
import html

from experiments.bench.offline import section
from experiments.bench.offline.section import framed, live_section, page_or_reason
from plant.errors import InputError
from tests.experiments.bench.offline.helper import scene


def test_a_frame_holds_the_whole_page_apart_from_the_one_around_it():
    made = framed('<p title="a">&amp;</p>')
    assert html.unescape(made.split('srcdoc="')[1].split('"')[0]) == '<p title="a">&amp;</p>'
    assert 'sandbox="allow-scripts"' in made and "<figure" not in made


def test_where_it_cannot_be_made_the_reason_stands_in_its_place(monkeypatch):
    def missing():
        raise InputError("no linker <here>")

    monkeypatch.setattr(section, "linker", missing)
    found = scene()
    made = live_section(found.rig, found.trace, "cuffloop report")
    assert made.body == "<p>Left out: no linker &lt;here&gt;.</p>"
    assert "left out when these pages were built: no linker &lt;here&gt;" in page_or_reason(found.rig, found.trace, "x")


def test_it_is_the_page_of_that_rig(monkeypatch):
    monkeypatch.setattr(section, "linker", lambda: ["none"])
    monkeypatch.setattr(section, "figure_page", lambda made, command: f"<i>{made.rig.name} {command}</i>")
    found = scene()
    assert "&lt;i&gt;wrist cuffloop report&lt;/i&gt;" in live_section(found.rig, found.trace, "cuffloop report").body
    assert page_or_reason(found.rig, found.trace, "x") == "<i>wrist x</i>"
