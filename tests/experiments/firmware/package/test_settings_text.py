"""Settings in C: exact, with unit and key."""
import re

from experiments.firmware.emit.kinds import DOUBLE, SINGLE
from experiments.firmware.package.contents import firmware_of
from experiments.firmware.package.settings_text import Setting, settings_header, settings_source
from experiments.rigs.rig import load_rig
from plant.numerics.layout import leaves


def test_every_number_is_there_exactly() -> None:
    """Hexadecimal floats give back the very numbers of the rig."""
    firmware = firmware_of(load_rig("wrist"))
    text = settings_source([Setting("servo_firmware", firmware, {"filling": "filling"}, "all")], DOUBLE, "servo")
    found = [float.fromhex(word) for word in re.findall(r"= (-?0x[0-9a-f.p+-]+),", text)]
    assert found == [value for _, value in leaves(firmware)]
    assert "filling.handover_mmHg_s" in text
    assert "[mmHg/s] speed of the set point" in text


def test_single_precision_rounds_once() -> None:
    """The suffix is there, and the header declares what the source defines."""
    firmware = firmware_of(load_rig("cabinet"))
    settings = [Setting("servo_firmware", firmware, {}, "all")]
    assert re.search(r"= 0x[0-9a-f.p+-]+f,", settings_source(settings, SINGLE, "servo"))
    assert "extern const Firmware servo_firmware;" in settings_header(settings, "servo")
