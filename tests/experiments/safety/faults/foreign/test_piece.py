"""Failures with somebody's firmware in the loop, in forks of the process that holds the clamp."""
from pathlib import Path

import numpy as np
import pytest

from experiments.firmware.foreign.watch import given_at
from experiments.firmware.package.package import write_code
from experiments.rigs.rig import load_rig
from experiments.safety.faults.catalogue import excluded_faults, find_faults
from experiments.safety.faults.study import KEYS, prepare, run_piece
from experiments.simulation.outcome import FIGURES, LAYERS
from plant.errors import InputError
from tests.experiments.firmware.foreign.planted import planted
from tests.experiments.firmware.helper import needs_gcc
from tests.experiments.safety.faults.test_study import SMALL

STORM = ("valve_stuck_open:1", "emitter_out:0.8", "processor_reset:1", "tick_doubled:1", "clamp_too_early:1", "cough:1")


def test_failures_inside_the_rigs_own_law_do_not_apply() -> None:
    """Left out of the whole catalogue, and refused by name."""
    rig = load_rig("wrist")
    assert {"gains_high", "gains_low"} <= excluded_faults(rig, own_law=False).keys()
    assert {f.name for f in find_faults("", rig)} - {f.name for f in find_faults("", rig, own_law=False)} == {
        "gains_high", "gains_low"}
    with pytest.raises(InputError, match="gains_high: fails inside the rig's own law"):
        find_faults("relief_stuck,gains_high:0.5", rig, own_law=False)


@pytest.mark.slow
@needs_gcc
@pytest.mark.parametrize("name", ["wrist", "cabinet"])
def test_the_rigs_own_law_as_c_fails_like_the_rig(name: str, tmp_path: Path) -> None:
    """Every row has the same bits, a reset and doubled ticks included; nothing is found."""
    write_code(load_rig(name), "double", tmp_path, None)
    plan = SMALL._replace(rig=name, faults=STORM, fingers=1)
    own = run_piece(plan, prepare(plan)[1][0])
    hers = plan._replace(firmware=given_at(tmp_path))
    found = run_piece(hers, prepare(hers)[1][0])
    assert (found.why, found.findings) == (own.why, [])
    assert np.array_equal(own.rows, found.rows, equal_nan=True)


@pytest.mark.slow
@needs_gcc
@pytest.mark.parametrize(("fault", "word"), [("segv", "SIGSEGV"), ("hang", "no progress"), ("nan", "finite")])
def test_a_firmware_that_dies_under_a_failure_is_a_finding_and_stands_still(
    fault: str, word: str, tmp_path: Path
) -> None:
    """The instrument is then without its processor, and the watchdog lets the cuff go."""
    write_code(load_rig("wrist"), "double", tmp_path, None)
    port = (tmp_path / "servo_port.c").read_text(encoding="utf-8")
    body = {"segv": "*(volatile int *)16 = 1;", "hang": "for (;;) { }", "nan": "out->command = 0.0 / zero;"}[fault]
    (tmp_path / "servo_port.c").write_text(
        port.replace("void servo_tick(", "static volatile double zero;\nvoid own_tick(")
        + "\nvoid servo_tick(void *state, const servo_samples *in, servo_outcome *out)\n{\n"
        "    own_tick(state, in, out);\n"
        f"    if (in->tick == 18000) {{ {body} }}\n}}\n", encoding="utf-8")
    plan = SMALL._replace(faults=("emitter_out:0.05",), fingers=1, protections=(),
                          after_s=8.0, firmware=given_at(tmp_path))
    found = run_piece(plan, prepare(plan)[1][0])
    assert len(found.findings) == 1
    assert word in found.findings[0]
    assert "tick 18000" in found.findings[0]
    assert found.rows[0, (*KEYS, *FIGURES, *LAYERS).index("watchdog")] >= 0.0


@pytest.mark.slow
@needs_gcc
def test_one_that_dies_before_any_failure_has_no_rows(tmp_path: Path) -> None:
    """And says at which tick."""
    plan = SMALL._replace(fingers=1, firmware=given_at(planted(tmp_path, "exit", tick=40)))
    found = run_piece(plan, prepare(plan)[1][0])
    assert len(found.rows) == 0
    assert "status 3 in servo_tick at tick 40" in found.why
    assert found.findings
