"""The three ways in, as their users have them [seen]."""
import pytest


def view(opened, name):
    opened.page.get_by_role("tab", name=name).click()
    return opened.page.locator("[aria-label=Question] > div:not([hidden]) > .answer").first


def test_a_student_reads_what_a_tenth_too_much_does(opened):
    page, words = opened.page, view(opened, "Understand")
    slider = page.get_by_label("volume held, against the unloaded one")
    slider.focus()
    for _ in range(10):
        page.keyboard.press("ArrowRight")
    page.wait_for_selector(".answer:has-text('Held 10 % too large')")
    text = words.inner_text()
    assert "systolic pressure off by −" in text and "diastolic by −" in text
    assert "volume_error=0.1" in page.evaluate("() => location.hash")


@pytest.mark.slow
def test_the_search_step_by_step(opened):
    page = opened.page
    view(opened, "Understand")
    page.get_by_role("button", name="Search with this rig").click()
    page.wait_for_selector("text=/Found after|Not found/", timeout=120_000)
    page.get_by_role("button", name="Next step").click()
    assert page.locator("[aria-label='Steps of the search'] tr.worst").count() == 1
    page.wait_for_selector(".answer:has-text('1 of ')")


def test_a_reviewer_presses_valve_sticks_open(opened):
    page, words = opened.page, view(opened, "Break")
    page.get_by_label("failure", exact=True).select_option("valve_stuck_open")
    page.wait_for_selector("[aria-label='What acted, in order'] td", timeout=120_000)
    first = page.locator("[aria-label='What acted, in order'] td").first.inner_text()
    assert "acts first" in words.inner_text() and first.startswith("1. ")
    page.get_by_label(first.removeprefix("1. "), exact=True).uncheck()
    acted = "[aria-label='What acted, in order']"
    page.wait_for_function("([place, text]) => !document.querySelector(place).innerText.includes(text)",
                           arg=[acted, first])
    assert "option.lost=" in page.evaluate("() => location.hash")


@pytest.mark.parametrize("name", ["Tune", "Understand", "Break"])
def test_each_view_stays_inside_a_phone(opened, name):
    opened.page.set_viewport_size({"width": 390, "height": 844})
    view(opened, name)
    opened.page.wait_for_timeout(200)
    assert opened.page.evaluate("() => document.documentElement.scrollWidth") <= 390


def test_arrow_keys_move_between_the_views(opened):
    opened.page.get_by_role("tab", name="Tune").focus()
    opened.page.keyboard.press("ArrowRight")
    assert opened.page.get_by_role("tab", name="Understand").get_attribute("aria-selected") == "true"


def test_a_gain_is_judged_on_all_fingers_while_it_moves(opened):
    page = opened.page
    page.get_by_role("button", name="Judge on 32 virtual fingers").click()
    page.wait_for_selector("text=/of 32 keep/", timeout=120_000)
    before = page.locator("[aria-label='Other fingers'] .answer").inner_text()
    opened.turned("controller.kp", "0.03")
    page.wait_for_function("(text) => { const now = document.querySelector(\"[aria-label='Other fingers'] .answer\");"
                           " return now.innerText !== text && now.innerText.includes('of 32'); }", arg=before)
    assert page.locator(".people li").count() == 32 and page.locator(".people li.short").count() > 0


def test_a_point_of_the_map_is_taken_by_keyboard(opened):
    page = opened.page
    page.get_by_role("button", name="Draw the map").click()
    page.wait_for_selector("text=/Filling in.*of 289/", timeout=120_000)
    page.get_by_label("Map of modulus margin").focus()
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Enter")
    page.wait_for_selector(".knob.changed")
    assert "set.controller.kp=" in page.evaluate("() => location.hash")


@pytest.mark.slow
def test_an_engineer_finds_the_largest_tube_that_keeps_all_limits(opened, cuffloop):
    """Type a length that fails, then halve the ratio between the longest that keeps and the shortest that does not."""
    page = opened.page
    page.set_default_timeout(240_000)
    keeps, fails, clicks = float(opened.knob("tube.length_m").input_value()), 1.0, 0
    while fails / keeps > 1.02:
        length = float(f"{fails if clicks == 0 else (keeps * fails) ** 0.5:.3g}")
        opened.turned("tube.length_m", f"{length:g}")
        page.wait_for_selector(".knob.changed")
        if opened.verdict().startswith("Yes"):
            keeps = length
        else:
            fails = length
        clicks += 1
    assert clicks <= 10
    said = {length: cuffloop("check", "wrist", "--record", "synthetic", "--seconds", 16, "--set",
                             f"tube.length_m={length:g}", "--json").status for length in (keeps, fails)}
    assert said == {keeps: 0, fails: 1}
