"""Small functions to emit, and a C compiler where there is one."""
import ctypes
import importlib.util
import shutil
import subprocess
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from experiments.firmware.emit.kinds import DOUBLE, Numbers
from experiments.firmware.emit.text import header, source
from experiments.firmware.emit.unit import Emitted, Unit

GCC = shutil.which("gcc")
needs_gcc = pytest.mark.skipif(GCC is None, reason="no gcc on this machine")
BOARD = [name for name in ("unicorn", "elftools", "capstone") if importlib.util.find_spec(name) is None]
ARM = shutil.which("arm-none-eabi-gcc") or importlib.util.find_spec("ziglang")
needs_board = pytest.mark.skipif(bool(BOARD) or ARM is None,
                                 reason="the extra `firmware` is not installed, or there is no compiler for ARM")
STRICT = ["-std=c99", "-pedantic", "-Wall", "-Wextra", "-Wconversion", "-Wdouble-promotion", "-Werror",
          "-ffp-contract=off"]
HEAD = """import math
from typing import NamedTuple
from plant.declare import compiled
from plant.numerics.integrate import selected
from plant.numerics.vector import choose, opposite, rounded_down
"""


def module_from(text: str, folder: Path, name: str = "written") -> ModuleType:
    """A module of compiled functions, written for a test."""
    path = folder / f"{name}.py"
    path.write_text(HEAD + text, encoding="utf-8")
    spec = importlib.util.spec_from_file_location(f"{name}_{folder.name}", path)
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def emitted(function: Any, *examples: Any, numbers: Numbers = DOUBLE) -> tuple[Unit, Emitted]:
    """A unit with one function that can be called."""
    unit = Unit(numbers)
    return unit, unit.root(function, *examples)


def built(unit: Unit, root: Emitted, folder: Path) -> ctypes.CDLL:
    """The unit as a library."""
    (folder / "unit.h").write_text(header(unit, [root], "unit", "A test."), encoding="utf-8")
    (folder / "unit.c").write_text(source(unit, [root], "unit", "A test."), encoding="utf-8")
    assert GCC is not None
    target = folder / f"unit_{root.name}.so"
    subprocess.run([GCC, *STRICT, "-O2", "-shared", "-fPIC", "unit.c", "-o", target, "-lm"], cwd=folder, check=True)
    return ctypes.CDLL(str(target))


def called(unit: Unit, root: Emitted, folder: Path, *values: float) -> float:
    """What a function of real numbers gives in C."""
    function = getattr(built(unit, root, folder), root.name)
    real = ctypes.c_double if unit.numbers == DOUBLE else ctypes.c_float
    function.restype, function.argtypes = real, [real] * len(values)
    return float(function(*values))
