"""A run with somebody's firmware, judged, and the replay of what ended it."""
import subprocess
from pathlib import Path

import pytest

from experiments.firmware.foreign.outcome import FirmwareChoice, loop_outcome
from experiments.rigs.requirements import default_requirements, load_requirements
from experiments.rigs.rig import load_rig
from plant.pressure.synthetic import SyntheticPressure, synthesise
from tests.experiments.firmware.foreign.planted import TICK, planted
from tests.experiments.firmware.helper import GCC, needs_gcc

pytestmark = needs_gcc


@pytest.mark.parametrize(("fault", "ends"), [("segv", True), ("none", False)])
def test_a_replay_leads_to_the_same_tick(fault: str, ends: bool, tmp_path: Path) -> None:
    """It dies there outside the loop, too; without a finding there is none."""
    rig = load_rig("wrist")
    trace = synthesise(SyntheticPressure(), rig.timing.period_s, 9.0, 1)
    path = planted(tmp_path, fault)
    found = loop_outcome(rig, trace, FirmwareChoice(path), load_requirements(default_requirements("wrist")))
    replay = found.replay()
    assert bool(replay) == ends
    assert any("FINDING crash" in line for line in found.lines()) == ends
    assert found.document()["firmware"] == path.name
    if ends:
        assert not found.passed
        for name, content in replay.items():
            (tmp_path / name).write_bytes(content)
        assert GCC is not None
        subprocess.run([GCC, "-std=c99", "-g", "-I.", "replay.c", path.name, "-o", "replay", "-lm"], cwd=tmp_path,
                       check=True)
        done = subprocess.run([tmp_path / "replay", "replay.bin"], cwd=tmp_path, capture_output=True, check=False)
        assert done.returncode == -11
        shorter = (tmp_path / "replay.bin").read_bytes()[: 64 * TICK]
        (tmp_path / "replay.bin").write_bytes(shorter)
        done = subprocess.run([tmp_path / "replay", "replay.bin"], cwd=tmp_path, capture_output=True, text=True,
                              check=True)
        assert f"tick {TICK - 1}," in done.stdout
        assert float(done.stdout.split()[-1]) == found.watched.run.channels["command"][TICK - 1]  # type: ignore[union-attr]
