"""`cuffloop.sweep_firmware`: a firmware along axes, from Python."""
import pytest

import cuffloop
from tests.experiments.firmware.foreign.planted import planted
from tests.experiments.firmware.helper import needs_gcc
from tests.experiments.front.front_bench import doctests_of, is_whole


@needs_gcc
def test_the_result(tmp_path):
    result = cuffloop.sweep_firmware(planted(tmp_path, "none"), "wrist", {"supply.pressure_mmHg": [550.0, 600.0]},
                                     record="synthetic", options=cuffloop.SweepOptions(seconds=9))
    assert [point.findings for point in result.found.points] == [[], []]
    is_whole(result, {"sweep"}, tmp_path / "out", {"sweep.json", "sweep.nc", "sweep.png"})


def test_examples():
    doctests_of("firmware.sweep")


def test_too_many_points(tmp_path):
    with pytest.raises(cuffloop.InputError, match="2001 points are more than 2000"):
        cuffloop.sweep_firmware(planted(tmp_path, "none"), "wrist", {"supply.pressure_mmHg": (500, 600, 2001)})
