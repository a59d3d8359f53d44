"""`cuffloop.check_firmware`: a firmware judged from Python."""
import cuffloop
from tests.experiments.firmware.foreign.planted import planted
from tests.experiments.firmware.helper import needs_gcc
from tests.experiments.front.front_bench import doctests_of, is_whole


@needs_gcc
def test_the_result(tmp_path):
    result = cuffloop.check_firmware(planted(tmp_path, "exit", tick=6000), "wrist", "synthetic", seconds=16)
    assert not result.passed and [finding.tick for finding in result.found.findings] == [6000, 6000]
    is_whole(result, {"tracking"}, tmp_path / "out", {"check.json", "tracking.png"})


def test_examples():
    doctests_of("firmware.check")
