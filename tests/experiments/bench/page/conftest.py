"""Headless Chromium on the bench's page. Without it, or without Playwright that drives it, these tests skip."""
import contextlib
import os
import shutil

import pytest

from tests.experiments.bench.conftest import KEY

PROGRAMS = ("chromium", "chromium-browser", "google-chrome")


def missing(what):
    """Skip, saying why; fail where a browser is required, as in `.ci/run`."""
    if os.environ.get("CUFFLOOP_NEEDS_BROWSER"):
        pytest.fail(what)
    pytest.skip(what)


@pytest.fixture(scope="session")
def chromium():
    """The browser."""
    program = next(filter(None, map(shutil.which, PROGRAMS)), None)
    if program is None:
        missing("Chromium is not installed")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("Playwright is not installed")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=["--no-sandbox", "--disable-gpu"])
        yield browser
        browser.close()


class Opened:
    """A page with what it asked for and complained of."""

    def __init__(self, page):
        self.page, self.asked_for, self.complaints = page, [], []
        page.on("request", lambda request: self.asked_for.append(request.url))
        page.on("console", lambda message: self.complaints.append(message.text))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))

    def go(self, address, fragment=""):
        """Open the bench and wait for its verdict."""
        self.page.goto(f"http://{address}/?key={KEY}{fragment}")
        self.verdict()
        return self

    def verdict(self):
        """Wait until the ledger is that of the state on the page; its first words."""
        self.page.wait_for_selector("[aria-label=Limits] .scroll:not(.waiting) td.found", timeout=180_000)
        return self.page.inner_text("[aria-label=Limits] .answer")

    def knob(self, key):
        """The typed number of a knob."""
        return self.page.locator(f"#k-{key.replace('.', '-')}")

    def turned(self, key, text):
        """Type a number and wait for the verdict on it."""
        self.knob(key).fill(text)
        self.knob(key).press("Enter")
        self.page.wait_for_timeout(50)


@pytest.fixture
def opened(chromium, bench):
    """A fresh page on the bench."""
    with contextlib.closing(chromium.new_context(viewport={"width": 1280, "height": 900})) as context:
        context.set_default_timeout(180_000)  # the first answer of a kind may have a kernel to compile
        found = Opened(context.new_page()).go(bench.address)
        yield found
        assert not found.complaints
        assert all(url.startswith((f"http://{bench.address}/", "blob:", "data:")) for url in found.asked_for)
