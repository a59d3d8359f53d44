"""The live figure in Chromium, offline and from a file: what it runs has the bits of what Python runs [seen]."""
import base64
import contextlib
from pathlib import Path

import numpy as np
import pytest

from experiments.bench.offline.grid import FIGURES, worst_margins
from experiments.bench.offline.scene import ready_at
from experiments.bench.offline.section import framed
from experiments.check.check import run_tracking
from experiments.simulation.simulate import run_ready
from tests.experiments.bench.offline.helper import page, scene, with_linker
from tests.experiments.bench.page.test_accessible import findings

NEAR_mmHg = 1e-6  # between one rounding and two, as the page says
BITS = """([places, twice]) => {
  const figure = window.figure; figure.sliders.at = places; figure.sliders.tell(); figure.draw();
  const values = figure.result.cuff_mmHg.slice(0, figure.result.done);
  let text = ""; for (const byte of new Uint8Array(values.buffer)) text += String.fromCharCode(byte);
  const { rms_mmHg, systolic_mmHg, mean_mmHg, diastolic_mmHg, limited_share } = figure.result;
  return { cuff: btoa(text), rms_mmHg, systolic_mmHg, mean_mmHg, diastolic_mmHg, limited_share,
    margins: document.querySelector(".answer").textContent, rounds: figure.engine.rounds };
}"""
FUSES = any("fma" in line.split() for line in Path("/proc/cpuinfo").read_text().splitlines() if "flags" in line) if (
    Path("/proc/cpuinfo").is_file()) else False
TURNS = [(10, 4, 4), (13, 7, 6), (0, 0, 0), (5, 9, 1)]


@contextlib.contextmanager
def figure(chromium, tmp_path, text, **more):
    """The page open from a file without any network, and what it complained of."""
    file = tmp_path / "live.html"
    file.write_text(text, encoding="utf-8")
    with contextlib.closing(chromium.new_context(offline=True, **more)) as context:
        shown, wrong = context.new_page(), []
        shown.on("console", lambda message: wrong.append(message.text))
        shown.on("pageerror", lambda error: wrong.append(str(error)))
        shown.on("request", lambda request: wrong.append(request.url) if request.url != file.as_uri() and
                 not request.url.startswith(("data:", "about:")) else None)
        shown.goto(file.as_uri())
        yield shown
        assert not wrong


def ready(shown):
    """Wait for the first picture."""
    shown.wait_for_selector(".answer:has-text('Margins')")
    return shown


@pytest.mark.parametrize("twice", [False, True])
def test_the_run_in_the_page_is_the_run_outside(chromium, tmp_path, twice):
    with_linker()
    text = page().replace("WebAssembly.validate(once)", "false") if twice else page()
    found = scene()
    with figure(chromium, tmp_path, text) as shown:
        ready(shown)
        for places in TURNS:
            told = shown.evaluate(BITS, [places, twice])
            cuff = np.frombuffer(base64.b64decode(told["cuff"]))
            run = run_ready(ready_at(found.rig, found.trace, found.at(*places)))
            assert told["rounds"] is (not twice)
            if FUSES and not twice:
                assert np.array_equal(cuff, run.channels["cuff_mmHg"]), places
            assert np.max(np.abs(cuff - run.channels["cuff_mmHg"])) < NEAR_mmHg, places
            tracked = run_tracking(run, harmonics=False)
            beats = tracked.ideal_beats
            assert told["rms_mmHg"] == pytest.approx(tracked.ideal.rms_mmHg, abs=1e-5)
            assert told["limited_share"] == pytest.approx(tracked.saturation_share, abs=1e-3)
            for name in ("systolic", "mean", "diastolic"):
                assert told[f"{name}_mmHg"] == pytest.approx(getattr(beats, name).mean_mmHg, abs=1e-5)


def test_margins_on_the_page_are_those_of_the_loop(chromium, tmp_path):
    with_linker()
    found = scene()
    with figure(chromium, tmp_path, page()) as shown:
        ready(shown)
        for places in TURNS[:2]:
            words = shown.evaluate(BITS, [places, False])["margins"]
            turn = found.at(*places)
            there = worst_margins(found, found.axes[0].values, turn.dead_time_s, turn.volume_error)
            for name, about in FIGURES.items():
                value = there[name][places[0]]
                assert f"{about.label} {value:.{about.decimals}f}" in words
        assert "no margins" in shown.evaluate(BITS, [[20, 10, 4], False])["margins"]


def test_by_keyboard_alone_and_back(chromium, tmp_path):
    with_linker()
    with figure(chromium, tmp_path, page(), viewport={"width": 390, "height": 800}) as shown:
        ready(shown)
        before = shown.inner_text(".answer >> nth=1")
        for _ in range(3):
            shown.keyboard.press("Tab")
        assert shown.evaluate("() => document.activeElement.id") == "turn-volume_error"
        shown.keyboard.press("ArrowRight")
        shown.keyboard.press("ArrowRight")
        shown.wait_for_function("(text) => document.querySelectorAll('.answer')[1].innerText !== text", arg=before)
        assert shown.inner_text("output[for=turn-volume_error]") == "10 % too large"
        assert "systolic −" in shown.inner_text(".answer >> nth=1")
        shown.get_by_role("button", name="As the rig has it").click()
        shown.wait_for_function("(text) => document.querySelectorAll('.answer')[1].innerText === text", arg=before)
        assert shown.evaluate("() => document.documentElement.scrollWidth") <= 390
        assert "not a medical device" in shown.inner_text(".caution")
        assert not findings(shown)


def test_inside_a_report_it_runs_apart_and_grows_to_its_height(chromium, tmp_path):
    with_linker()
    around = f"<!doctype html><html lang='en'><title>Around</title><body>{framed(page())}</body></html>"
    with figure(chromium, tmp_path, around, color_scheme="dark") as shown:
        inner = shown.frame_locator("iframe")
        inner.locator(".answer").first.wait_for()
        shown.wait_for_function("() => document.querySelector('iframe').style.height.endsWith('px')")
        paper = inner.locator(".bench").evaluate("(one) => getComputedStyle(one).backgroundColor")
        assert paper == "rgb(251, 250, 247)"
