"""Findings from an exit status and the notes."""
import signal

import numpy as np
import pytest

from controller.tick.law import design
from experiments.firmware.foreign import records
from experiments.firmware.foreign.findings import findings_of
from experiments.rigs.rig import load_rig


def notes(**values: int) -> records.Words:
    """Notes of a run of a hundred ticks that came to its end, changed."""
    found = np.zeros(records.NOTE_WORDS, np.int64)
    found[records.TICK], found[records.DONE], found[records.STARTED] = 99, 100, 1
    for name, value in values.items():
        found[getattr(records, name)] = value
    return found


@pytest.mark.parametrize(("changed", "code", "hung", "kind", "tick"), [
    ({}, 0, False, None, 0), ({"TICK": 7, "INSIDE": 1, "DONE": 0}, -signal.SIGSEGV, False, "crash", 7),
    ({"TICK": 7, "INSIDE": 1, "DONE": 0}, 0, False, "exit", 7), ({"TICK": -1, "DONE": 0}, 5, False, "exit", -1),
    ({"TICK": 7, "INSIDE": 1, "DONE": 0}, -signal.SIGKILL, True, "hang", 7),
    ({"TICK": 7, "DONE": 8, "STATUS": records.NOT_FINITE}, 0, False, "not a number", 7),
    ({"BEYOND": 3, "FIRST_BEYOND": 11}, 0, False, "range", 11),
])
def test_what_is_found(changed: dict[str, int], code: int, hung: bool, kind: str | None, tick: int) -> None:
    """One finding each, at its tick; none of a run that came to its end."""
    rig = load_rig("wrist")
    found = findings_of(notes(**changed), code, hung, 100, design(rig.controller, rig.timing.period_s))
    assert [(f.kind, f.tick) for f in found] == ([] if kind is None else [(kind, tick)])
    assert all(("servo_start" in f.text) == (tick < 0) for f in found)
