"""A firmware judged as `check` judges a rig."""
from pathlib import Path

import numpy as np
import pytest

from experiments.check.check import check
from experiments.firmware.foreign.judged import check_firmware
from experiments.firmware.package.package import write_code
from experiments.rigs.requirements import default_requirements, load_requirements
from experiments.rigs.rig import load_rig
from plant.pressure.synthetic import SyntheticPressure, synthesise
from tests.experiments.firmware.foreign.planted import planted
from tests.experiments.firmware.helper import needs_gcc

pytestmark = needs_gcc
LIMITS = load_requirements(default_requirements("wrist"))


def test_a_firmware_that_dies_fails_with_its_findings(tmp_path: Path) -> None:
    """In the search and in the run; no limit on margins is judged."""
    rig = load_rig("wrist")
    found = check_firmware(rig, synthesise(SyntheticPressure(), 0.001, 16.0, 1), planted(tmp_path, "segv", tick=300),
                           LIMITS)
    assert not found.passed
    assert [(f.kind, f.tick) for f in found.findings] == [("crash", 300)] * 2
    assert found.calibration.found is None
    assert "cuff_mmHg" in {v.figure for v in found.verdicts}
    assert not any("margin" in v.figure for v in found.verdicts)
    said = "\n".join(found.lines())
    assert "FINDING crash in the search" in said
    assert "left out" in said
    document = found.document()
    assert [f["in"] for f in document["findings"]] == ["search", "run"]


@pytest.mark.slow
def test_the_rigs_own_law_as_c_is_judged_like_the_rig(tmp_path: Path) -> None:
    """Set point, error and every tick of the run have the bits of `check`."""
    rig, trace = load_rig("wrist"), synthesise(SyntheticPressure(), 0.001, 20.0, 1)
    write_code(rig, "double", tmp_path, None)
    own, found = check(rig, trace, LIMITS), check_firmware(rig, trace, tmp_path, LIMITS)
    assert found.passed
    assert own.calibration == found.calibration
    assert found.watched.run is not None
    for name in ("cuff_mmHg", "light", "command"):
        assert np.array_equal(own.run.channels[name], found.watched.run.channels[name]), name
    assert found.pictures()["tracking"]().axes
