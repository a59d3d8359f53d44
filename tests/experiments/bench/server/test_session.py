"""A tab's requests: the newest wins, one bad value is one line, and no tab disturbs another."""
import json
import time

import pytest

from experiments.bench.answers.turned import turned
from experiments.bench.server.session import BURST, answered, answered_while
from tests.experiments.bench.conftest import heard
from tests.experiments.bench.helper import SETUP, asked


def ask(tab, number, slot="own", **message):
    tab.send(json.dumps({"slot": slot, "number": number, **message}))


def test_an_answer_is_the_pure_functions_own(bench):
    with bench.tab() as tab:
        heard(tab, "known")
        ask(tab, 1, settings={"controller.kp": 0.02})
        found = heard(tab, "own", 1)
    wanted = turned(asked(settings={"controller.kp": 0.02}))
    assert found.head["loop"]["figures"]["modulus_margin"] == wanted.head["loop"]["figures"]["modulus_margin"]
    assert (found.arrays["cuff_mmHg"] == wanted.arrays["cuff_mmHg"].astype("f4")).all()


def test_of_many_requests_the_newest_is_answered_and_few_before_it(bench):
    with bench.tab() as tab:
        heard(tab, "known")
        for number in range(1, 121):
            ask(tab, number, settings={"controller.kp": 0.02 + 1e-5 * number}, dragging=True)
        answers = [heard(tab, "own")]
        while answers[-1].head["number"] != 120:
            answers.append(heard(tab, "own"))
        assert len(answers) < 60


def test_tabs_do_not_disturb_each_other(bench):
    with bench.tab() as one, bench.tab() as other:
        ask(one, 1, settings={"controller.kp": 0.4}, dragging=True)
        ask(other, 1, settings={}, dragging=True)
        assert heard(one, "own", 1).head["loop"]["stable"] is False and heard(other, "own", 1).head["loop"]["stable"]


def test_a_bad_value_is_a_line_for_its_knob(bench):
    with bench.tab() as tab:
        ask(tab, 1, settings={"controller.kp": -5.0}, moved="controller.kp")
        found = heard(tab, "own", 1).head
        assert found["key"] == "controller.kp" and "must be a number from" in found["error"]
        ask(tab, 2, slot="check", want="check", settings={"controller.kp": "x.py:Y"})
        assert heard(tab, "check", 2).head["key"] == "controller.kp"


def test_a_tab_that_floods_is_closed(bench):
    exceptions = pytest.importorskip("websockets.exceptions")
    with bench.tab() as tab, pytest.raises(exceptions.ConnectionClosed):
        for number in range(int(3 * BURST)):
            ask(tab, number, slot="x", rig="none")
        end = time.monotonic() + 30.0
        while time.monotonic() < end:
            tab.recv(timeout=30.0)


def test_whatever_is_asked_is_answered_in_one_line():
    for message in ({"rig": 1}, {"settings": 3}, {"settings": {"a": 1}}, {"settings": {"supply.pressure_mmHg": 60.0}}):
        line = answered(SETUP, message).head["error"]
        assert line and "\n" not in line


def test_a_full_answer_is_left_for_a_newer_request_and_a_quick_one_is_not():
    asked_for = []

    def newer():
        asked_for.append(1)
        return len(asked_for) < 3

    assert answered_while(SETUP, {}, newer) is None and len(asked_for) == 3
    assert answered_while(SETUP, {"dragging": True}, lambda: False).head["quick"] is True
    assert answered_while(SETUP, {}, lambda: True).head["loop"] == answered(SETUP, {}).head["loop"]
    assert "controller.kp" in answered_while(SETUP, {"settings": {"controller.kp": -1.0}}, lambda: False).head["error"]
