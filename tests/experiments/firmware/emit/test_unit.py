"""A unit: the same text every time, names told apart, docstrings and places kept."""
import pytest

from controller.protection.protection import initial_protection, protection_step
from controller.protection.watched import Watched
from controller.tick.firmware import Order, firmware_tick
from experiments.firmware.emit.kinds import DOUBLE, SINGLE, Numbers, Refusal
from experiments.firmware.emit.text import header, source
from experiments.firmware.emit.unit import Unit
from experiments.firmware.package.contents import emitted, firmware_of
from experiments.firmware.vectors.reference import initial_firmware
from experiments.rigs.rig import load_rig
from experiments.rigs.thresholds import thresholds


@pytest.mark.parametrize("rig", ["wrist", "cabinet"])
@pytest.mark.parametrize("numbers", [DOUBLE, SINGLE])
def test_the_firmware_of_both_rigs_is_emitted(rig: str, numbers: Numbers) -> None:
    """Twice the same text, every function under its docstring and the place of its source."""
    loaded = load_rig(rig)
    part = thresholds(loaded).protection
    texts = []
    for _ in range(2):
        unit, roots = emitted(firmware_of(loaded), part, numbers)
        texts.append(header(unit, roots, "servo", rig) + source(unit, roots, "servo", rig))
    assert texts[0] == texts[1]
    for function in unit.order:
        assert f"{function.source.file}:{function.source.line}" in texts[0]
        assert function.source.doc.splitlines()[0][:60] in texts[0].replace("\n * ", " ")


def test_a_firmware_without_law_is_refused() -> None:
    """Plain Python is not what runs on the tick."""
    with pytest.raises(Refusal, match="not a compiled function"):
        Unit(DOUBLE).root(len, 1.0)


def test_what_is_read_is_noted() -> None:
    """For the table of what comes from where."""
    unit = Unit(DOUBLE)
    firmware = firmware_of(load_rig("wrist"))
    unit.root(firmware_tick, firmware, initial_firmware(firmware), Order(0, 0.0, 0.0, 0.0), 0.0, 0.0)
    moving = next(f for f in unit.order if f.name == "moving_set_point")
    assert "Filling.handover_mmHg_s" in moving.reads
    part = thresholds(load_rig("wrist")).protection
    step = unit.root(protection_step, part, initial_protection(), Watched)
    assert "fallback_step" in step.calls
