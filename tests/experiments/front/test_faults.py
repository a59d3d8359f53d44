"""`cuffloop.faults` from Python."""
import pytest

import cuffloop
from tests.experiments.front.front_bench import doctests_of, is_whole


def test_the_result(tmp_path):
    result = cuffloop.faults("wrist", ["valve_stuck_open", "cough"], fingers=1, without=["dump_valve"],
                             options=cuffloop.FaultOptions(seconds=6))
    is_whole(result, {"faults", "fallback"}, tmp_path / "out",
             {"faults.json", "faults.csv", "faults.nc", "faults.png", "fallback.png"})
    assert result.passed and set(result.table) == {(0, ""), (0, "dump_valve"), (1, "")}


@pytest.mark.parametrize(("call", "words"), [
    (lambda: cuffloop.faults("wrist", "rain"), "'rain' is not known"),
    (lambda: cuffloop.faults("wrist", group="x"), "^group x is not known"),
    (lambda: cuffloop.faults("wrist", options=cuffloop.FaultOptions(seconds=0)), "^seconds 0"),
])
def test_what_is_refused(call, words):
    with pytest.raises(cuffloop.InputError, match=words):
        call()


def test_examples():
    doctests_of("faults")
