"""Images for emulated processors, built by whichever compiler is there."""
import sys
from pathlib import Path

import pytest

from experiments.firmware.board import image
from experiments.firmware.board.image import FLASH, RAM, STACK_BYTES, build_image, read_image
from experiments.firmware.board.processors import PROCESSORS
from plant.errors import InputError
from tests.experiments.firmware.helper import needs_board

pytestmark = needs_board
BARE = """#include "pressure_servo.h"
static double kept = 3.0;
uint32_t servo_abi(void) { return SERVO_ABI; }
void servo_start(void *state, double period_s) { *(double *)state = period_s; }
void servo_tick(void *state, const servo_samples *in, servo_outcome *out)
{
    kept += in->light;
    out->command = kept + *(double *)state;
}
"""


def test_an_image_says_what_stands_where(tmp_path: Path) -> None:
    """Function and line of an address, flash and RAM."""
    path = tmp_path / "bare.c"
    path.write_text(BARE, encoding="utf-8")
    made = build_image(path, [path], PROCESSORS["m3"], tmp_path)
    address = made.symbols["servo_tick"] & ~1
    assert FLASH <= address < FLASH + made.flash_bytes
    assert made.where(address).startswith("servo_tick (bare.c:")
    assert made.where(0x10) == "address 0x00000010"
    assert made.data_bytes >= 8
    assert made.data_end >= RAM + STACK_BYTES + 8
    assert "gcc" in made.compiler or "clang" in made.compiler
    assert read_image(tmp_path / "firmware_m3.elf", PROCESSORS["m3"]).segments == made.segments


@pytest.mark.parametrize(("text", "why"), [
    ("int x", "does not build for Cortex-M3"), ("int x;", "lacks one of|does not build"),
])
def test_what_cannot_be_built_is_refused(text: str, why: str, tmp_path: Path) -> None:
    """One line with the file."""
    path = tmp_path / "wrong.c"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=rf"wrong\.c|firmware_m3.*{why}"):
        build_image(path, [path], PROCESSORS["m3"], tmp_path)


def test_what_is_no_image_is_refused(tmp_path: Path) -> None:
    """Text, a program of this machine, nothing."""
    (tmp_path / "text.elf").write_text("not a program", encoding="utf-8")
    for path, why in ((tmp_path / "text.elf", "not an ELF file"), (tmp_path / "none.elf", "cannot be read"),
                      (Path(sys.executable), "not a program for an ARM|not an ELF")):
        with pytest.raises(InputError, match=why):
            read_image(path, PROCESSORS["m0"])


def test_the_plain_library_is_exact(tmp_path: Path) -> None:
    """Its functions are those of the C library of this machine, which is asked."""
    import ctypes
    import math

    from tests.experiments.firmware.helper import GCC

    if GCC is None:
        pytest.skip("no gcc on this machine")
    import subprocess

    target = tmp_path / "library.so"
    flags = ["-std=c99", "-O2", "-shared", "-fPIC", "-Wall", "-Wextra", "-Werror"]
    subprocess.run([GCC, *flags, image.HERE / "board_library.c", "-o", target], check=True)
    library = ctypes.CDLL(str(target))
    library.ldexp.restype = library.copysign.restype = ctypes.c_double
    library.ldexp.argtypes, library.copysign.argtypes = [ctypes.c_double, ctypes.c_int], [ctypes.c_double] * 2
    for value in (1.0, -3.7, 0.0):
        for power in (-40, 0, 63):
            assert library.ldexp(value, power) == math.ldexp(value, power)
        for sign in (1.0, -0.0, -math.inf):
            assert math.copysign(1.0, library.copysign(value, sign)) == math.copysign(1.0, sign)
