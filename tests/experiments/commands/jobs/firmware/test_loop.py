"""`cuffloop loop`: a firmware of one's own, its findings, and bad input."""
import json

import pytest

from tests.experiments.commands.jobs.command_line import files
from tests.experiments.firmware.foreign.planted import planted
from tests.experiments.firmware.helper import needs_gcc


@needs_gcc
def test_a_crash_is_a_finding_with_a_replay(cuffloop, tmp_path):
    path = planted(tmp_path, "segv")
    said = cuffloop("loop", "--firmware", path, "--record", "synthetic", "--seconds", "9", "--out", tmp_path / "out")
    assert said.status == 1 and "FINDING crash: SIGSEGV in servo_tick at tick 7777" in said.out
    assert files(tmp_path / "out") == ["loop.json", "pressure_servo.h", "replay.bin", "replay.c", "tracking.png"]
    found = json.loads((tmp_path / "out" / "loop.json").read_text(encoding="utf-8"))
    assert found["findings"][0]["tick"] == 7777 and not found["passed"]


def test_the_interface_is_printed(cuffloop):
    said = cuffloop("loop", "--header")
    assert said.status == 0 and "servo_tick(void *state" in said.out


@pytest.mark.parametrize(("words", "why"), [
    ((), "--firmware: name a C file"), (("--firmware", "missing.c"), "no such file"),
    (("--board", "m5"), "--board m5: one of m0"), (("--board", "m0", "--clock", "slow"), "--clock slow"),
    (("--firmware", "a.c", "--clock", "1MHz"), "is for --board"),
])
def test_bad_input(cuffloop, words, why):
    said = cuffloop("loop", "--record", "synthetic", "--seconds", "6", *words)
    assert said.status == 2 and why in said.err and said.err.count("\n") == 1 and said.out == ""
