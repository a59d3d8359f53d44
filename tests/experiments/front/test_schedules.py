"""`cuffloop.schedules` from Python."""
import pytest

import cuffloop
from tests.experiments.front.front_bench import doctests_of, is_whole


def test_the_result(tmp_path):
    result = cuffloop.schedules("wrist", ["never"], scenarios=["quiet"], fingers=1, minutes=1)
    is_whole(result, {"frontier", "one_finger"}, tmp_path / "out",
             {"schedules.json", "frontier.png", "one_finger.png", "schedules.nc"})


def test_what_is_refused():
    with pytest.raises(cuffloop.InputError, match=r"^minutes 0"):
        cuffloop.schedules("wrist", minutes=0)
    with pytest.raises(cuffloop.InputError, match="'seldom'"):
        cuffloop.schedules("wrist", "seldom")


def test_examples():
    doctests_of("schedules")
