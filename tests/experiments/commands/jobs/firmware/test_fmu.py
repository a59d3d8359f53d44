"""`cuffloop fmu`: a unit is written, and bad input says what is wrong."""
import importlib.util
import json

import pytest

from tests.experiments.commands.jobs.command_line import files


@pytest.mark.skipif(importlib.util.find_spec("ziglang") is None, reason="the extra `firmware` is not installed")
def test_a_unit_is_written(cuffloop, tmp_path):
    said = cuffloop("fmu", "--part", "controller", "--system", "x86_64-linux", "--out", tmp_path / "out", "--json")
    assert said.status == 0 and files(tmp_path / "out") == ["wrist_controller.fmu"]
    found = json.loads(said.out)
    assert list(found["systems"]) == ["x86_64-linux"]
    assert {v["name"] for v in found["variables"]} >= {"command", "light"}


@pytest.mark.parametrize(("words", "why"), [
    (("--part", "valve"), "--part valve: one of controller, plant, loop"),
    (("--system", "mars"), "--system mars: one of x86_64-linux"),
    (("--arterial", "5"), "--arterial 5 must be from 20 to 300 mmHg"),
])
def test_bad_input(cuffloop, words, why):
    said = cuffloop("fmu", *words)
    assert said.status == 2 and why in said.err
