"""Texts of a package."""
import csv
import io

import pytest

from experiments.firmware.emit.kinds import DOUBLE
from experiments.firmware.package import contents
from experiments.firmware.package.contents import contents_of
from experiments.firmware.package.texts import port, readme, trace_csv
from experiments.rigs.rig import load_rig


def test_every_function_is_traced(monkeypatch: pytest.MonkeyPatch) -> None:
    """To its source, to keys of the rig, and to vectors that run it."""
    for name in ("LAW_TICKS", "PROTECTION_TICKS", "LASTING_TICKS"):
        monkeypatch.setattr(contents, name, 20)
    made = contents_of(load_rig("wrist"), DOUBLE)
    rows = {row["C function"]: row for row in csv.DictReader(io.StringIO(trace_csv(made)))}
    assert set(rows) == {function.name for function in made.unit.order}
    assert "filling.handover_mmHg_s" in rows["moving_set_point"]["keys of the rig"]
    assert rows["moving_set_point"]["vectors"] == "law"
    assert rows["fallback_step"]["vectors"] == "protection"
    assert rows["law_demand"]["source"].startswith("controller/tick/law.py:")
    assert "Not a medical device" in readme(made)
    assert "servo_tick" in port(made)
