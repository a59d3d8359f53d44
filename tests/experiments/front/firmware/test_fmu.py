"""`cuffloop.fmu`: a unit from Python."""
import importlib.util

import pytest

import cuffloop
from tests.experiments.front.front_bench import doctests_of, is_whole

needs_wheel = pytest.mark.skipif(importlib.util.find_spec("ziglang") is None,
                                 reason="the extra `firmware` is not installed")


@needs_wheel
def test_the_result(tmp_path):
    result = cuffloop.fmu("wrist", "controller", systems="x86_64-linux")
    is_whole(result, set(), tmp_path / "out", {"wrist_controller.fmu"})
    assert (tmp_path / "out" / "wrist_controller.fmu").read_bytes() == result.made.content


@needs_wheel
def test_examples():
    doctests_of("firmware.fmu")


@pytest.mark.parametrize(("words", "why"), [
    ({"part": "valve"}, "part valve: one of"), ({"systems": ["mars"]}, "system mars: one of"),
    ({"arterial_mmHg": 5.0}, "arterial_mmHg 5 must be from 20 to 300 mmHg"),
])
def test_bad_input(words, why):
    with pytest.raises(cuffloop.InputError, match=why):
        cuffloop.fmu("wrist", **words)
