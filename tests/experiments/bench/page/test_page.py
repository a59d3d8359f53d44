"""The bench as its user has it: headless Chromium turns knobs, types, undoes, and loses the server [seen]."""
import asyncio
import contextlib
import json
import socket
import threading

import pytest

from tests.experiments.bench.conftest import KEY
from tests.experiments.bench.helper import SETUP
from tests.experiments.bench.page.conftest import Opened

KP = "controller.kp"


def test_the_ledger_is_what_the_command_prints(opened, cuffloop):
    command = json.loads(cuffloop("check", "wrist", "--record", "synthetic", "--seconds", 16, "--json").out)
    table = cuffloop("check", "wrist", "--record", "synthetic", "--seconds", 16).out
    rows = opened.page.locator("[aria-label=Limits] tbody tr")
    assert rows.count() == len(command["verdicts"])
    for i, verdict in enumerate(command["verdicts"]):
        cells = rows.nth(i).locator("td").all_inner_texts()
        found = cells[2].split()[0]
        assert (f" {found} " in table and found == f"{verdict['found']:.4g}") or verdict["found"] < 1e-9
        assert cells[3] == ("kept" if verdict["passed"] else "not kept")
    assert "Caution" in opened.page.inner_text(".caution")


def test_a_turned_knob_is_marked_kept_in_the_address_undone_and_reset(opened):
    page = opened.page
    row = page.locator(".knob", has=opened.knob(KP))
    opened.turned(KP, "0.03")
    page.wait_for_selector(".knob.changed")
    assert "0.0218" in row.inner_text() and "No:" in opened.verdict()
    assert "set.controller.kp=0.03" in page.url and KEY not in page.url
    page.locator("h1").click()
    page.keyboard.press("Control+z")
    assert opened.knob(KP).input_value() == "0.0218" and not page.locator(".knob.changed").count()
    page.keyboard.press("Control+y")
    assert opened.knob(KP).input_value() == "0.03"
    page.reload()
    opened.verdict()
    assert opened.knob(KP).input_value() == "0.03"
    row.get_by_role("button", name="Reset").click()
    assert opened.knob(KP).input_value() == "0.0218"
    page.get_by_role("button", name="Undo").click()
    page.get_by_role("button", name="Reset all").click()
    assert opened.knob(KP).input_value() == "0.0218" and "Yes:" in opened.verdict()


@pytest.mark.parametrize("text", ["many", "-1", "1e9", ""])
def test_a_bad_number_is_a_line_beside_its_knob_and_the_page_lives_on(opened, text):
    opened.turned(KP, text)
    line = opened.page.locator(".knob", has=opened.knob(KP)).locator(".wrong")
    assert "is not a number from" in line.inner_text()
    opened.turned(KP, "0.02")
    opened.page.wait_for_selector(".knob.changed")
    assert line.inner_text() == "" and "set.controller.kp=0.02" in opened.page.url


def test_what_only_the_server_can_refuse_is_said_beside_the_knob_too(opened):
    page = opened.page
    page.get_by_label("Find a parameter by name or meaning").fill("transmission")
    opened.turned("tissue.transmission", "0.3")
    page.get_by_label("Find a parameter by name or meaning").fill("supply pressure")
    opened.turned("supply.pressure_mmHg", "100")
    page.wait_for_selector(".state.trouble")
    row = page.locator(".knob", has=opened.knob("supply.pressure_mmHg"))
    assert "too low to hold" in row.locator(".wrong").inner_text()


def test_by_keyboard_alone(opened):
    page = opened.page
    page.locator("h1").click()
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("() => document.activeElement.getAttribute('aria-label')") == "controller · kp, slider":
            break
    page.keyboard.press("ArrowRight")
    page.wait_for_selector(".knob.changed")
    assert "1/mmHg" in page.evaluate("() => document.activeElement.getAttribute('aria-valuetext')")
    page.keyboard.press("Control+z")
    page.wait_for_function("() => !document.querySelector('.knob.changed')")


def test_another_rig_is_held_beside(opened):
    page = opened.page
    page.get_by_label("held beside").select_option("cabinet")
    page.wait_for_selector("text=cabinet, held beside", timeout=90_000)
    assert "ghost=cabinet" in page.evaluate("() => location.hash")
    page.get_by_label("held beside").select_option("")
    page.wait_for_function("() => !document.body.innerText.includes('cabinet, held beside')")


def test_what_is_held_beside_is_read_where_the_moving_curves_are(opened):
    """A curve of all points on as few as those under a hand, by lines from point to point."""
    spaced = "async ([values, count, stride]) => (await import('/page/parts/wire.js')).spaced(values, count, stride)"

    def read(*given):
        return opened.page.evaluate(spaced, list(given))

    assert read([0.0, 1.0, 4.0, 9.0, 16.0], 3) == [0.0, 4.0, 16.0]
    assert read([0.0, 1.0, 4.0], 5) == [0.0, 0.5, 1.0, 2.5, 4.0]
    assert read([0.0, 1.0, 4.0, 9.0], 2, 3.0) == [0.0, 9.0]
    assert read([1.0, 2.0, 3.0], 3, 1.0) == [1.0, 2.0, 3.0]


def test_a_kernel_compiled_aside_is_heard_of_and_an_older_check_is_not(opened):
    heard = """async () => {
      const { Asking } = await import('/page/parts/live.js');
      const heard = [], told = {};
      const asking = new Asking((line) => { Object.assign(told, line); return { send: () => true }; },
        { check: (a) => heard.push(`check ${a.head.number}`), 'compile-ghost': (a) => heard.push('compiled') });
      asking.askAside('check', 'check', {});
      asking.askAside('check', 'check', {});
      told.message({ head: { slot: 'check', want: 'check', number: 1 } });
      told.message({ head: { slot: 'compile-ghost', want: 'compile', number: 7, last: true } });
      told.message({ head: { slot: 'check', want: 'check', number: 2 } });
      return heard; }"""
    assert opened.page.evaluate(heard) == ["compiled", "check 2"]


def test_the_rig_file_the_command_and_the_picture_are_one_click_each(opened, tmp_path):
    page = opened.page
    opened.turned(KP, "0.02")
    opened.verdict()
    for name, ending in (("Save rig file", ".toml"), ("Save picture", ".png")):
        with page.expect_download() as download:
            page.get_by_role("button", name=name).click()
        assert download.value.suggested_filename.endswith(ending)
        download.value.save_as(tmp_path / f"x{ending}")
    assert "kp = 0.02" in (tmp_path / "x.toml").read_text() and (tmp_path / "x.png").stat().st_size > 20_000
    page.get_by_role("button", name="Copy command").click()
    page.wait_for_selector(".state:has-text('cuffloop check wrist --record synthetic --seconds 16')")
    assert "--set controller.kp=0.02" in page.inner_text(".state")


@pytest.mark.parametrize("width", [1280, 390])
def test_nothing_spills_over_the_edge(opened, width):
    opened.page.set_viewport_size({"width": width, "height": 844})
    opened.page.wait_for_timeout(200)
    assert opened.page.evaluate("() => document.documentElement.scrollWidth") <= width


def test_a_tab_finds_the_bench_again_after_a_restart_with_its_state(chromium):
    from experiments.bench.server.start import Running

    place = socket.create_server(("127.0.0.1", 0))
    port = place.getsockname()[1]

    @contextlib.contextmanager
    def running(on):
        made = Running(SETUP, on, KEY)
        thread = threading.Thread(target=lambda: asyncio.run(made.run()))
        thread.start()
        yield
        made.stop()
        thread.join(15.0)
        on.close()

    with contextlib.closing(chromium.new_context()) as context:
        page = context.new_page()
        opened = Opened(page)
        with running(place):
            opened.go(f"127.0.0.1:{port}", "#view=tune&rig=wrist&set.controller.kp=0.02")
        page.wait_for_selector(".state.trouble")
        assert "does not answer" in page.inner_text(".state")
        with running(socket.create_server(("127.0.0.1", port))):
            page.wait_for_selector(".state:not(.trouble)", timeout=30_000)
            assert opened.knob(KP).input_value() == "0.02"
            opened.turned(KP, "0.03")
            assert "No:" in opened.verdict()
