"""Contrast, names and roles in each view, light and dark, as axe-core finds them [seen]."""
import contextlib
from importlib.resources import files

import pytest

from tests.experiments.bench.page.conftest import Opened

SERIOUS = ("serious", "critical")
VIEWS = ("Tune", "Understand", "Break")


def findings(page):
    """Serious and critical findings of axe-core on the page as it is."""
    pytest.importorskip("axe_playwright_python", reason="axe-playwright-python, which holds axe-core, is not installed")
    page.evaluate(files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8"))
    found = page.evaluate("() => axe.run(document, { resultTypes: ['violations'] })")
    return [f"{one['id']}: {one['help']}: {node['target']} {node['failureSummary'][:200]}"
            for one in found["violations"] if one["impact"] in SERIOUS for node in one["nodes"]]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_serious_findings_in_any_view(chromium, bench, scheme):
    size = {"width": 1280, "height": 900}
    with contextlib.closing(chromium.new_context(color_scheme=scheme, viewport=size)) as context:
        opened = Opened(context.new_page()).go(bench.address)
        opened.turned("controller.kp", "0.03")
        opened.verdict()
        for name in VIEWS:
            opened.page.get_by_role("tab", name=name).click()
            opened.page.wait_for_timeout(300)
            assert not findings(opened.page), name


def test_the_dark_scheme_is_the_readers_wish_and_no_black_screen(chromium, bench):
    with contextlib.closing(chromium.new_context(color_scheme="dark")) as context:
        page = Opened(context.new_page()).go(bench.address).page
        paper = page.evaluate("() => getComputedStyle(document.querySelector('.bench')).backgroundColor")
        red, green, blue = (int(part) for part in paper[4:-1].split(","))
        assert min(red, green, blue) > 20 and max(red, green, blue) < 80


@pytest.mark.slow
@pytest.mark.parametrize("width", [1280, 390])
def test_no_serious_findings_with_everything_open(chromium, bench, width):
    """Another rig beside, thirty-two fingers, a map, a search, a failure, a bad number; nothing spills either."""
    with contextlib.closing(chromium.new_context(viewport={"width": width, "height": 900})) as context:
        context.set_default_timeout(240_000)
        opened = Opened(context.new_page()).go(bench.address, "#view=tune&rig=wrist&ghost=cabinet")
        page = opened.page
        opened.turned("controller.kp", "-1")
        page.get_by_role("button", name="Judge on 32 virtual fingers").click()
        page.wait_for_selector("text=/of 32 keep/")
        page.get_by_role("button", name="Draw the map").click()
        page.wait_for_selector("text=/Filling in.*of 289/")
        places = [("Tune", None), ("Understand", "Search with this rig"), ("Break", None)]
        for name, press in places:
            page.get_by_role("tab", name=name).click()
            if press:
                page.get_by_role("button", name=press).click()
                page.wait_for_selector("text=/Found after|Not found/")
            if name == "Break":
                page.get_by_label("failure", exact=True).select_option("valve_stuck_open")
                page.wait_for_selector("[aria-label='What acted, in order'] td")
            assert not findings(page), name
            assert page.evaluate("() => document.documentElement.scrollWidth") <= width, name
