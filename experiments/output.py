"""Where results go: one folder, JSON and figures written whole or not at all; plain lines for people."""
from __future__ import annotations

import json
import math
import sys
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path
from typing import Any

from plant.errors import InputError

CAUTION = (
    "A design and teaching tool, not a medical device. Work on people follows the applicable standards, local codes "
    "and licensed practice."
)


def plain(value: Any) -> Any:
    """A value that JSON can hold: numbers that are not finite become the words nan, inf and -inf."""
    if isinstance(value, dict):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    if isinstance(value, bool) or value is None or isinstance(value, str):
        return value
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    if isinstance(value, complex):
        return {"real": value.real, "imaginary": value.imag}
    return value


def print_json(document: dict[str, Any]) -> None:
    """JSON alone on standard output."""
    print(json.dumps(plain(document), indent=2, ensure_ascii=False))


def print_lines(lines: list[str], folder: OutputFolder | None) -> None:
    """Lines for people, and where files were written."""
    print("\n".join(lines))
    if folder:
        print(f"\nwritten to {folder.path}: {', '.join(folder.written)}")


def provenance(seed: int | None) -> dict[str, Any]:
    """What is needed to repeat a result: version, libraries, command, seed, and the caution."""
    libraries = {name: version(name) for name in ("numpy", "scipy", "numba", "pydantic")}
    command = " ".join(["cuffloop", *sys.argv[1:]])
    return {
        "provenance": {"cuffloop": version("cuffloop"), "libraries": libraries, "command": command, "seed": seed},
        "caution": CAUTION,
    }


def write_text(path: Path, text: str) -> None:
    """Write a file under a temporary name, then rename it: never half a file."""
    temporary = path.with_name(path.name + ".part")
    try:
        temporary.write_text(text, encoding="utf-8")
        temporary.replace(path)
    except OSError as error:
        temporary.unlink(missing_ok=True)
        raise InputError(f"{path}: cannot be written: {error.strerror or error}") from None


class OutputFolder:
    """A folder for results, made on opening."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.written: list[str] = []

    @classmethod
    def open(cls, path: Path | None) -> OutputFolder | None:
        """The folder, made if need be; None when none was asked for. Raises InputError when it cannot be one."""
        if path is None:
            return None
        try:
            path.mkdir(parents=True, exist_ok=True)
            probe = path / ".cuffloop-probe"
            probe.touch()
            probe.unlink()
        except OSError as error:
            raise InputError(f"--out {path}: not a folder that can be written: {error.strerror or error}") from None
        return cls(path)

    def write_json(self, name: str, document: dict[str, Any]) -> None:
        """One JSON document."""
        write_text(self.path / name, json.dumps(plain(document), indent=2, ensure_ascii=False) + "\n")
        self.written.append(name)

    def write_figures(self, figures: dict[str, Callable[[], Any]]) -> None:
        """Draw and save each figure as a PNG."""
        from experiments.figure_style import save

        for name, draw in figures.items():
            save(draw(), self.path / f"{name}.png")
            self.written.append(f"{name}.png")
