"""`cuffloop.loop`: a firmware from Python."""
import pytest

import cuffloop
from tests.experiments.firmware.foreign.planted import planted
from tests.experiments.firmware.helper import needs_gcc
from tests.experiments.front.front_bench import doctests_of, is_whole


@needs_gcc
def test_the_result_of_a_crash(tmp_path):
    result = cuffloop.loop("wrist", planted(tmp_path, "segv", tick=6500), "synthetic", seconds=8)
    assert not result.passed and result.found.watched.findings[0].tick == 6500
    is_whole(result, {"tracking"}, tmp_path / "out",
             {"loop.json", "tracking.png", "replay.c", "replay.bin", "pressure_servo.h"})


@needs_gcc
def test_examples():
    doctests_of("firmware.loop")


@pytest.mark.parametrize(("board", "why"), [
    (cuffloop.BoardOptions(clock="1MHz"), "clock 1MHz: is for board"),
    (cuffloop.BoardOptions("m5"), "board m5: one of m0"),
])
def test_a_board_that_is_none(board, why):
    with pytest.raises(cuffloop.InputError, match=why):
        cuffloop.loop("wrist", board=board)
