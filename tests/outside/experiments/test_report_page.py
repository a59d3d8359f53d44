"""A report as a real browser opens it: headless Chromium's own document, requests, paper and pixels [seen].

Chromium is no dependency: without it these tests skip, unless CUFFLOOP_NEEDS_BROWSER is set, as `.ci/run` does.
"""
import io
import json
import os
import re
import shutil
import subprocess
from html.parser import HTMLParser

import matplotlib.image
import pytest

from experiments.check.check import check
from experiments.rigs.requirements import default_requirements, load_requirements
from experiments.rigs.rig import load_rig
from experiments.safety.faults.pictures import fallback_figure
from experiments.safety.report.report import report_page
from experiments.work.output import CAUTION, provenance
from plant.pressure.synthetic import SyntheticPressure, synthesise
from tests.experiments.safety.report.test_faults_sections import FINE, HIGH, evidence, failure

QUIET = ("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage", "--hide-scrollbars",
         "--host-resolver-rules=MAP * ~NOTFOUND")
# The browser has errands of its own. Chromium labels each request with who makes it (traffic annotations, its own
# registry): these are the page's parts, and pages within the page.
PAGE = {101845102: "blink_resource_loader", 63171670: "navigation_url_loader"}
FROM_OUTSIDE = """<img src="http://image.invalid/a.png"><script src="http://script.invalid/a.js"></script>
<link rel="stylesheet" href="http://style.invalid/a.css"><iframe src="http://frame.invalid/"></iframe>
<style>@font-face { font-family: "f"; src: url("http://font.invalid/f.woff2"); } i { font-family: "f"; }</style><i>f</i>
<script>fetch("http://fetch.invalid/").catch(() => {});</script>"""


class Browser:
    """Chromium on one file at a time, with no network but the wish for one."""

    def __init__(self, program, folder):
        self.program, self.folder = program, folder

    def __call__(self, page, *options):
        """What it prints on opening this text."""
        file = self.folder / "page.html"
        file.write_text(page, encoding="utf-8")
        command = [self.program, *QUIET, f"--user-data-dir={self.folder / 'profile'}", *options, file.as_uri()]
        return subprocess.run(command, capture_output=True, timeout=60, check=True).stdout.decode()

    def asks_for(self, page):
        """Addresses that the page asked the network for, as the browser logged them."""
        log = self.folder / "net.json"
        self(page, f"--log-net-log={log}", "--dump-dom")
        found = json.loads(log.read_text())
        alive = found["constants"]["logEventTypes"]["REQUEST_ALIVE"]
        begun = [e["params"] for e in found["events"] if e["type"] == alive and "url" in e.get("params", {})]
        return {p["url"] for p in begun if p["traffic_annotation"] in PAGE}

    def after(self, page, script):
        """The JSON that a script at the page's end comes to."""
        tail = f'<script>document.body.dataset.answer = JSON.stringify((() => {{ {script} }})());</script></body>'
        answers = []
        reader = HTMLParser()
        reader.handle_starttag = lambda tag, attrs: answers.append(dict(attrs).get("data-answer"))
        reader.feed(self(page.replace("</body>", tail), "--dump-dom", "--window-size=800,1000"))
        return json.loads(next(filter(None, answers)))


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        if os.environ.get("CUFFLOOP_NEEDS_BROWSER"):
            pytest.fail("CUFFLOOP_NEEDS_BROWSER is set, and there is no Chromium")
        pytest.skip("no Chromium on this machine")
    return Browser(program, tmp_path_factory.mktemp("browser"))


@pytest.fixture(scope="module")
def page():
    """A whole report: a check of sixteen seconds, and forty failures that rise from 101 to 140 mmHg."""
    result = check(load_rig("wrist"), synthesise(SyntheticPressure(), 1e-3, 16.0, 1),
                   load_requirements(default_requirements("wrist")))
    many = [failure(f"fault_{i:02}", FINE._replace(highest_mmHg=101.0 + i)) for i in range(40)]
    many[7] = many[7]._replace(without={"pressure_limit": HIGH})
    picture = io.BytesIO()
    fallback_figure().savefig(picture, format="png")
    figures = {"fallback": (picture.getvalue(), "The states in which the firmware falls back")}
    return report_page(result, evidence(*many)._replace(figures=figures), provenance(1), [])


def test_the_browser_shows_title_caution_and_short_answer(browser, page):
    seen = browser.after(page, """return {title: document.title, top: document.body.innerText.slice(0, 3000),
        images: document.images.length, broken: [...document.images].filter(i => !i.naturalWidth).length,
        lost: [...document.querySelectorAll("a")].filter(a => !document.querySelector(a.hash) || !a.text).length,
        wide: document.documentElement.scrollWidth - innerWidth}""")
    assert seen["title"].startswith("cuffloop report: rig wrist")
    assert seen["images"] == 4 and seen["broken"] == 0 and seen["lost"] == 0
    assert seen["wide"] <= 0, "nothing sticks out of a window of 800 pixels"
    found = [seen["top"].index(words) for words in (
        CAUTION, "Rig wrist: ", "Not contained\nNone", "Worst contained\nfault 07",
        "What catches it\nPressure limit catches it first",
        "Its removal that breaks a limit\nWithout pressure limit: pressure above the limit, 412 mmHg",
        "Single points of failure\n1 pair of", "1. Requirements")]
    assert found == sorted(found), "and in this order"


def test_it_asks_the_network_for_nothing(browser, page):
    assert browser.asks_for(page) == set()


def test_this_test_would_notice(browser, page):
    """Every way to load something: from the same page with an image, script, style, frame, font and fetch put in."""
    asked = browser.asks_for(page.replace("</body>", FROM_OUTSIDE + "</body>"))
    assert {url.split("/")[2] for url in asked} == {f"{name}.invalid" for name in
                                                    ("image", "script", "style", "frame", "font", "fetch")}


def test_a_click_on_a_heading_sorts(browser, page):
    seen = browser.after(page, """
        const table = document.querySelector("#faults table");
        const names = () => [...table.tBodies[0].rows].map(row => row.cells[0].textContent);
        const buttons = [...table.querySelectorAll("th button")];
        const click = word => { buttons.find(b => b.textContent.startsWith(word)).click();
            return [names(), [...table.querySelectorAll("th[aria-sort]")].map(h => h.getAttribute("aria-sort"))]; };
        return [click("Highest"), click("Highest"), click("Failure")];""")
    rising = [f"fault {i:02}" for i in range(40)]
    assert seen == [[rising, ["ascending"]], [rising[::-1], ["descending"]], [rising, ["ascending"]]]


def test_on_paper(browser, page):
    """A4; the broad table, and it alone, lies across; not one sheet more than such a report needs."""
    paper = browser.folder / "report.pdf"
    browser(page, f"--print-to-pdf={paper}", "--no-pdf-header-footer")
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", paper.read_bytes())
    sizes = [(round(float(w) * 25.4 / 72), round(float(h) * 25.4 / 72)) for w, h in boxes]
    assert 8 < len(sizes) < 22 and set(sizes) == {(210, 297), (297, 210)}
    assert sizes[0] == (210, 297) and 1 <= sizes.count((297, 210)) <= 4


def test_something_is_painted(browser, page):
    shot = browser.folder / "report.png"
    browser(page, f"--screenshot={shot}", "--window-size=1280,1200")
    pixels = matplotlib.image.imread(shot)[..., :3]
    assert pixels.shape == (1200, 1280, 3)
    dark = (pixels.mean(axis=2) < 0.5).mean()
    assert 0.01 < dark < 0.2, "words and lines, on white"
    assert pixels[:, -20:].min() > 0.99, "a margin at the right"
