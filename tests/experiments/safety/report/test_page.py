"""The page loads nothing, escapes everything, and is well formed."""
import base64
import math
import re
from html.parser import HTMLParser

from hypothesis import given
from hypothesis import strategies as st

from experiments.safety.report.page import (
    Code,
    Raw,
    Section,
    answers,
    bullets,
    link,
    number,
    page,
    paragraph,
    picture,
    table,
)
from experiments.work.style import new_figure

VOID = {"meta", "img", "br"}


class Reader(HTMLParser):
    """Collects text, links and images, and complains about tags that do not close."""

    def __init__(self):
        super().__init__()
        self.open, self.words, self.ids, self.links, self.images = [], [], [], [], []

    def handle_starttag(self, tag, attrs):
        values = dict(attrs)
        if "id" in values:
            self.ids.append(values["id"])
        if tag == "a":
            self.links.append(values["href"])
        if tag == "img":
            self.images.append(values)
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open and self.open.pop() == tag

    def handle_data(self, data):
        self.words.append(data)


def read(text):
    reader = Reader()
    reader.feed(text)
    reader.close()
    assert reader.open == []
    return reader


def example():
    figure = new_figure(2, 2)
    figure.subplots().plot([0, 1], [0, 1])
    body = paragraph("a < b & c") + table(["x", "y"], [[1, True], [2.5, False], [math.inf, Raw("<b>z</b>")]], True)
    return page("A title", paragraph("lead", "caution"), [
        Section("one", "First", body + picture(figure, 'a "line"', "fig")),
        Section("two", "Second", bullets(["p", "<q>"]) + link("one", "back")),
    ])


def test_well_formed_with_its_anchors():
    reader = read(example())
    assert {"one", "two", "fig"} <= set(reader.ids) and len(reader.ids) == len(set(reader.ids))
    assert all(href[1:] in reader.ids for href in reader.links) and reader.links


def test_it_loads_nothing_from_outside():
    text = example()
    bare = re.sub(r"base64,[A-Za-z0-9+/=]+", "", text)
    assert not re.search(r"https?:|//[a-z]|@import|url\(|<link|<iframe|src=(?!\"data:)", bare)
    image = read(text).images[0]
    assert base64.b64decode(image["src"].partition(",")[2]).startswith(b"\x89PNG") and image["alt"] == 'a "line"'


@given(st.text())
def test_words_come_back_as_they_were(words):
    safe = words.replace("\r", " ").replace("\0", " ")
    reader = read(page(safe, paragraph(safe), [Section("a", safe, table([safe], [[safe]]))]))
    if safe.strip():
        assert safe in "".join(reader.words)


def test_questions_stand_beside_their_answers():
    body = answers([("a <b>", "c & d"), ("e", Raw("<i>f</i>"))])
    assert body == "<dl><dt>a &lt;b&gt;</dt><dd>c &amp; d</dd><dt>e</dt><dd><i>f</i></dd></dl>"


def test_cells():
    body = table(["v"], [[True], [False], [3], [0.123456], [math.inf], [math.nan], [Code("/a")]], True)
    assert 'class="pass"' in body and 'class="fail"' in body and "FAIL" in body
    assert 'data-value="3.0"' in body and "0.123" in body and "never" in body and "–" in body
    assert 'class="code">/a<' in body


def test_paper_needs_numbers():
    """Sections and figures are numbered in their order, and a link without words says where it leads."""
    figure = new_figure(2, 2)
    words = "".join(read(page("t", link("two") + link("fig") + link("elsewhere"), [
        Section("one", "First", picture(figure, "other")), Section("two", "Second", picture(figure, "this", "fig")),
    ])).words)
    assert "section 2figure 2elsewhere" in words and "1. First" in words and "2. Second" in words
    assert "Figure 1: other" in words and "Figure 2: this" in words


def test_numbers_for_reading():
    assert [number(v) for v in (12345.6, -0.5, 3, 99.94)] == ["12346", "−0.5", "3", "99.9"]
