"""An emulated processor in the closed loop: the bits of this machine, faults with function and line, counts."""
from pathlib import Path

import pytest

from experiments.firmware.board.processors import PROCESSORS
from experiments.firmware.foreign.outcome import compared
from experiments.firmware.foreign.watch import BoardPlan, Watched, run_foreign
from experiments.firmware.package.package import write_code
from experiments.rigs.rig import load_rig
from tests.experiments.firmware.foreign.planted import FAULTS, TICK, planted
from tests.experiments.firmware.foreign.test_watch import ready
from tests.experiments.firmware.helper import needs_board, needs_gcc

pytestmark = [needs_board, needs_gcc]
DEEP = "volatile char room[40000]; room[0] = 1; room[39999] = room[0];"


def on(processor: str, given: Path, seconds: float = 9.0, rig: str = "wrist", clock_Hz: float | None = None) -> Watched:
    """A firmware on an emulated board."""
    found = PROCESSORS[processor]
    return run_foreign(ready(rig, seconds), given, plan=BoardPlan(found, clock_Hz or found.clock_Hz))


@pytest.mark.parametrize(("processor", "number", "rig"), [
    ("m4f", "single", "wrist"), ("m0", "single", "cabinet"), ("m3", "double", "cabinet")])
def test_our_own_firmware_has_the_bits_of_this_machine(processor: str, number: str, rig: str, tmp_path: Path) -> None:
    """Every recorded value of a closed loop; and the counts are there."""
    write_code(load_rig(rig), number, tmp_path)
    board, here = on(processor, tmp_path, 5.2, rig), run_foreign(ready(rig, 5.2), tmp_path)
    assert board.run is not None
    assert board.board is not None
    both = compared(board.board, board.run, here.run)
    assert both.differing == 0
    assert both.compared > 40_000
    assert 0 < both.instructions <= both.most_instructions < both.most_cycles
    assert 0 < both.stack_bytes < 2000
    assert both.state_bytes > 0
    assert both.image.flash_bytes > 2000


@pytest.mark.parametrize(("fault", "kind", "text"), [
    ("segv", "fault", "a write to 0x00000010 in fault"), ("nan", "not a number", "finite"),
    ("deep", "fault", "below the stack of 32,768 bytes in fault"), ("hang", "hang", "in fault"),
    ("stack", "fault", "the stack was smashed in fault"), ("division", "fault", "a division by zero in fault"),
])
def test_planted_faults_are_found_at_their_tick(
    fault: str, kind: str, text: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With function and line where memory refuses, and with the function where it hangs."""
    monkeypatch.setitem(FAULTS, "deep", DEEP)
    found = on("m3", planted(tmp_path, fault))
    assert [(f.kind, f.tick) for f in found.findings] == [(kind, TICK)]
    assert text in found.findings[0].text
    if fault in ("segv", "deep", "hang"):
        assert f"{fault}.c:" in found.findings[0].text
    assert found.run is not None
    assert len(found.samples) == TICK + 1


def test_a_tick_that_does_not_fit_is_a_finding(tmp_path: Path) -> None:
    """At a clock that is too slow for it; the start may fail there too."""
    found = on("m0", planted(tmp_path, "none"), 5.2, clock_Hz=1e6)
    assert [f.kind for f in found.findings] == ["time"]
    began = on("m0", planted(tmp_path, "none", start="*(volatile int *)4 = 1;"), 5.2)
    assert [(f.kind, f.tick) for f in began.findings] == [("fault", -1)]
    assert "servo_start" in began.findings[0].text
