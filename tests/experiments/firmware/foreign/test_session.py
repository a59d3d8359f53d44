"""A search's session with a firmware in a process of its own."""
from pathlib import Path

import numpy as np
import pytest

from calibrate.protocol import Clamp, Hold
from experiments.firmware.foreign.session import Sessions
from experiments.firmware.package.package import write_code
from experiments.rigs.rig import clamp, load_rig
from experiments.simulation.session import Diverged, Session
from plant.errors import InputError
from tests.experiments.firmware.foreign.planted import planted
from tests.experiments.firmware.helper import needs_gcc
from tests.experiments.simulation.test_session import INSTRUMENT, session

pytestmark = needs_gcc


def test_the_rigs_own_law_as_c_gives_the_bits_of_the_session(tmp_path: Path) -> None:
    """Hold and clamp, request by request: light, reading, command, pressures."""
    rig = load_rig("wrist")
    write_code(rig, "double", tmp_path, None)
    own, point = session(rig), clamp(rig, 90.0, 0.0)
    asked = [Hold(80.0, 0.4), Clamp(point.light, point.light_slope, 0.6, 1.0), Hold(70.0, 0.2)]
    with Sessions(tmp_path) as sessions:
        other = sessions(rig, own.inputs, 1, 5)
        for request in asked:
            mine, hers = own.ask(request, INSTRUMENT), other.ask(request, INSTRUMENT)
            for name, values in mine._asdict().items():
                assert np.array_equal(values, getattr(hers, name)), name
    assert sessions.findings == []


def test_a_firmware_that_dies_ends_the_session_with_a_finding(tmp_path: Path) -> None:
    """What it came to until then stays."""
    rig, made = load_rig("wrist"), session(load_rig("wrist"))
    with Sessions(planted(tmp_path, "segv", tick=250)) as sessions:
        other = sessions(rig, made.inputs, 1, 5)
        other.ask(Hold(80.0, 0.2), INSTRUMENT)
        with pytest.raises(Diverged):
            other.ask(Hold(80.0, 0.2), INSTRUMENT)
    assert [(f.kind, f.tick) for f in sessions.findings] == [("crash", 250)]
    assert "SIGSEGV" in other.ended
    assert len(other.rows) == 250
    assert isinstance(other, Session)


def test_what_cannot_begin_is_refused(tmp_path: Path) -> None:
    """Another interface: one line."""
    with Sessions(planted(tmp_path, "none", abi="1u")) as sessions:
        other = sessions(load_rig("wrist"), session(load_rig("wrist")).inputs, 1, 5)
        with pytest.raises(InputError, match=r"none\.c: servo_abi"):
            other.ask(Hold(80.0, 0.2), INSTRUMENT)
