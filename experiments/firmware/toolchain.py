"""A C compiler on this machine: `$CC`, the wheel's, gcc, clang or cc, whichever is there first."""
from __future__ import annotations

import importlib.util
import os
import shlex
import shutil
import subprocess
import sys
from dataclasses import dataclass

from plant.errors import InputError

NAMES = ("gcc", "clang", "cc")
PATIENCE_s = 300.0


@dataclass(frozen=True)
class Compiler:
    """How a compiler is called, and what it calls itself."""

    command: tuple[str, ...]
    version: str

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
        found.append((sys.executable, "-m", "ziglang", "cc", "-mcpu=baseline"))
    return found


def find_compiler() -> Compiler:
    """The first compiler that says its version. Raises InputError where there is none."""
    for command in candidates():
        try:
            done = subprocess.run([*command, "--version"], capture_output=True, text=True, timeout=60, check=False)
        except (OSError, subprocess.TimeoutExpired):
            continue
        if done.returncode == 0 and done.stdout:
            return Compiler(command, done.stdout.splitlines()[0])
    raise InputError("no C compiler: install gcc or clang, `pip install ziglang`, or name one in the variable CC")
