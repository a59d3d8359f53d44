"""What each unit holds."""
import pytest

from experiments.firmware.fmu.parts import PARTS, part_of
from experiments.rigs.rig import load_rig


@pytest.mark.parametrize("rig", ["wrist", "cabinet"])
def test_parts_have_what_they_need_and_no_more(rig: str) -> None:
    """A loop has no inputs that it makes itself."""
    parts = {name: part_of(load_rig(rig), name) for name in PARTS}
    inputs = {name: {v.name for v in part.variables if v.causality == "input"} for name, part in parts.items()}
    assert inputs["controller"] == {"fill_mmHg", "set_point", "light_slope", "light", "reading_mmHg", "mode"}
    assert inputs["plant"] == {"arterial_mmHg", "tone", "ambient", "command"}
    assert inputs["loop"] == (inputs["controller"] | inputs["plant"]) - {"light", "reading_mmHg", "command"}


def test_a_plant_begins_at_its_pressure() -> None:
    """The one that is asked for."""
    part = part_of(load_rig("wrist"), "plant", arterial_mmHg=77.0)
    start = next(setting.value for setting in part.settings if setting.name == "plant_at_start")
    assert start.segment.middle_mmHg == 77.0
    assert part.period_s == load_rig("wrist").timing.period_s
