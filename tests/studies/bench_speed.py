"""How quickly the bench answers: slider to picture, a drag, a check that is interrupted, memory over a long drag.

    python -m tests.studies.bench_speed wrist cabinet --minutes 0

Starts `cuffloop bench` and drives headless Chromium on it. Prints milliseconds with the machine's load; a goal that is
missed is no failure here: on a busy machine it says little.
"""
import argparse
import os
import re
import shutil
import statistics
import subprocess
import sys
import time
from pathlib import Path

from playwright.sync_api import sync_playwright

PROGRAMS = ("chromium", "chromium-browser", "google-chrome")
KNOBS = ("controller.kp", "valve.natural_frequency_Hz", "tube.diameter_mm")
MOVES, STEPS = 25, 40
MOVE = "([key, count, pause]) => window.speed.moves(key, count, pause)"
HELPERS = (Path(__file__).parent / "bench_speed.js").read_text(encoding="utf-8")


class Bench:
    """A bench in a process of its own, as a user starts it."""

    def __init__(self, rig):
        self.begun = time.monotonic()
        words = [sys.executable, "-m", "cuffloop", "bench", rig, "--no-browser", "--port", "0", "--record", "synthetic"]
        self.process = subprocess.Popen(words, stdout=subprocess.PIPE, text=True)
        self.address = re.search(r"http://\S+", self.process.stdout.readline())[0]

    def memory_MB(self):
        """Resident memory of the server and its processes aside."""
        pids = {self.process.pid}
        for place in Path("/proc").glob("[0-9]*/stat"):
            try:
                words = place.read_text().rsplit(")", 1)[1].split()
            except OSError:
                continue
            if int(words[1]) in pids:
                pids.add(int(place.parent.name))
        found = []
        for pid in pids:
            status = Path(f"/proc/{pid}/status").read_text()
            found.append(int(re.search(r"VmRSS:\s+(\d+)", status)[1]) / 1024.0)
        return sum(found)

    def close(self):
        """End it as Ctrl-C does."""
        self.process.terminate()
        self.process.wait(20)


def verdict(page):
    """Wait for the verdict on the state of the page."""
    page.wait_for_selector("[aria-label=Limits] .scroll:not(.waiting) td.found", timeout=120_000)


def told_of(values):
    """Median and 95th percentile in words."""
    ordered = sorted(values)
    high = ordered[min(len(ordered) - 1, int(0.95 * len(ordered)))]
    return f"{statistics.median(ordered):.0f} ms in the median, 95 % {high:.0f}"


def measured(page, rig):
    """All figures of one rig but memory, printed as they come."""
    page.evaluate(HELPERS)
    for key in KNOBS:
        if not page.locator(f"#k-{key.replace('.', '-')}").count():
            continue
        told = page.evaluate(MOVE, [key, MOVES, 450])
        times = told["found"][3:]
        hasty = page.evaluate(MOVE, [key, MOVES, 210])["found"][3:]  # each while the full answer to the last is made
        page.wait_for_timeout(600)
        drag = page.evaluate("([key, steps]) => window.speed.drag(key, steps)", [key, STEPS])
        print(f"{rig}, {key}: slider to picture {told_of(times)} (into a full answer {told_of(hasty)}); "
              f"full answer {told['full']:.0f}; a drag of {STEPS} events at 60/s: {drag['answered']} pictures, "
              f"the last {drag['lag']:.0f} behind", flush=True)
        verdict(page)
    interrupted(page, rig)


def interrupted(page, rig):
    """From a turn to its verdict, alone and while the check of the turn before runs."""
    def turn(text):
        page.locator("#k-controller-kp").fill(text)
        page.locator("#k-controller-kp").press("Enter")

    own = page.locator("#k-controller-kp").input_value()
    alone, behind = [], []
    for i in range(5):
        value = f"{float(own) * (1.0 + 0.01 * (i + 1)):.4g}"
        begun = time.monotonic()
        turn(value)
        page.wait_for_timeout(30)
        verdict(page)
        alone.append(1e3 * (time.monotonic() - begun))
        turn(f"{float(own) * (1.0 - 0.01 * (i + 1)):.4g}")
        page.wait_for_timeout(700)  # its check has begun
        begun = time.monotonic()
        turn(own)
        page.wait_for_timeout(30)
        verdict(page)
        behind.append(1e3 * (time.monotonic() - begun))
    alone_ms, behind_ms = statistics.median(alone), statistics.median(behind)
    print(f"{rig}: turn to verdict {alone_ms:.0f} ms alone, {behind_ms:.0f} while another check runs", flush=True)


def dragged(page, bench, minutes):
    """Memory of server and page while sliders are turned at random."""
    end, rows = time.monotonic() + 60.0 * minutes, []
    session = page.context.new_cdp_session(page)
    page.evaluate("() => window.speed.wander()")
    while time.monotonic() < end:
        page.wait_for_timeout(15_000)
        session.send("HeapProfiler.collectGarbage")
        heap = session.send("Runtime.getHeapUsage")["usedSize"] / 1e6
        rows.append((bench.memory_MB(), heap))
        print(f"  server {rows[-1][0]:.0f} MB, page's heap {heap:.1f} MB", flush=True)
    page.evaluate("() => window.speed.stop()")
    third = max(1, len(rows) // 3)
    for name, place in (("server", 0), ("page's heap", 1)):
        early, late = (statistics.mean(row[place] for row in part) for part in (rows[third:2 * third], rows[-third:]))
        print(f"{name}: {early:.1f} MB in the middle third, {late:.1f} in the last ({100 * (late / early - 1):+.1f} %)")


def told(browser, bench, rig, minutes):
    """Everything about one rig, printed as it is measured."""
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    page.goto(bench.address)
    page.wait_for_selector("[aria-label='Margins'] td", timeout=180_000)
    first = time.monotonic() - bench.begun
    print(f"{rig}: from the command to the first full picture {first:.1f} s", flush=True)
    verdict(page)
    begun = time.monotonic()
    page.reload()
    page.wait_for_selector("[aria-label='Margins'] td", timeout=60_000)
    print(f"{rig}: a page on the bench that runs {time.monotonic() - begun:.2f} s", flush=True)
    verdict(page)
    measured(page, rig)
    if minutes > 0.0:
        dragged(page, bench, minutes)
    page.close()


def main():
    """Measure each rig."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rigs", nargs="*", default=["wrist", "cabinet"])
    parser.add_argument("--minutes", type=float, default=0.0)
    options = parser.parse_args()
    program = next(filter(None, map(shutil.which, PROGRAMS)))
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=["--no-sandbox", "--disable-gpu"])
        for rig in options.rigs:
            print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores", flush=True)
            bench = Bench(rig)
            try:
                told(browser, bench, rig, options.minutes)
            finally:
                bench.close()
            print(f"load {os.getloadavg()[0]:.1f}", flush=True)
        browser.close()


if __name__ == "__main__":
    main()
