"""C compilers: for this machine `$CC`, gcc, clang, cc or the wheel's, for an emulated processor `$ARM_CC`,
arm-none-eabi-gcc or the wheel's, whichever is there first.
"""
from __future__ import annotations

import importlib.util
import os
import shlex
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from plant.errors import InputError

NAMES = ("gcc", "clang", "cc")
PATIENCE_s = 300.0
WHEEL = (sys.executable, "-m", "ziglang", "cc")


@dataclass(frozen=True)
class Compiler:
    """How a compiler is called, and what it calls itself."""

    command: tuple[str, ...]
    version: str

    @property
    def is_wheel(self) -> bool:
        """Whether it is the one that comes as a package of Python, which builds for every processor."""
        return any("zig" in part for part in self.command)

    def run(self, arguments: list[str]) -> subprocess.CompletedProcess[str]:
        """Call it. Raises InputError when it cannot be started or does not end."""
        try:
            return subprocess.run([*self.command, *arguments], capture_output=True, text=True, errors="replace",
                                  timeout=PATIENCE_s, check=False)
        except (OSError, subprocess.TimeoutExpired) as error:
            raise InputError(f"{self.command[0]}: {getattr(error, 'strerror', None) or 'did not end'}") from None


def candidates() -> list[tuple[str, ...]]:
    """Commands to try, in order."""
    found: list[tuple[str, ...]] = []
    named = os.environ.get("CC")
    if named:
        found.append(tuple(shlex.split(named)))
    found += [(path,) for path in map(shutil.which, NAMES) if path]
    if importlib.util.find_spec("ziglang") is not None:
        found.append((*WHEEL, "-mcpu=baseline"))
    return found


def find_compiler() -> Compiler:
    """The first compiler that says its version. Raises InputError where there is none."""
    return _first(candidates(), "no C compiler: install gcc or clang, `pip install ziglang`, or name one in the "
                                "variable CC")


def find_board_compiler() -> Compiler:
    """The first compiler for emulated processors. Raises InputError where there is none."""
    named, cross = os.environ.get("ARM_CC"), shutil.which("arm-none-eabi-gcc")
    found = [tuple(shlex.split(named))] if named else []
    found += [(cross,)] if cross else []
    found += [WHEEL] if importlib.util.find_spec("ziglang") is not None else []
    return _first(found, "no C compiler for this processor: `pip install 'cuffloop[firmware]'`, install "
                         "arm-none-eabi-gcc, or name one in the variable ARM_CC")


def wheel_headers() -> list[str]:
    """Flags that give the wheel's compiler a C library's headers where there is no system."""
    found = importlib.util.find_spec("ziglang")
    if found is None or not found.origin:
        raise InputError("the wheel ziglang is not installed")
    include = Path(found.origin).parent / "lib" / "libc" / "include"
    return [flag for name in ("arm-linux-musl", "generic-musl") for flag in ("-isystem", str(include / name))]


def _first(commands: list[tuple[str, ...]], complaint: str) -> Compiler:
    for command in commands:
        try:
            done = subprocess.run([*command, "--version"], capture_output=True, text=True, timeout=60, check=False)
        except (OSError, subprocess.TimeoutExpired):
            continue
        if done.returncode == 0 and done.stdout:
            return Compiler(command, done.stdout.splitlines()[0])
    raise InputError(complaint)


def wheel_compiler() -> Compiler:
    """The compiler that comes as a package of Python. Raises InputError without it."""
    found: list[tuple[str, ...]] = [WHEEL] if importlib.util.find_spec("ziglang") is not None else []
    return _first(found, "no compiler for other systems: `pip install 'cuffloop[firmware]'`")
