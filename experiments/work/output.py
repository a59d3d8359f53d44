"""Where results go: one folder, JSON and figures written whole or not at all; plain lines for people."""
from __future__ import annotations

import functools
import json
import math
import platform
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from experiments.work.asked import words_asked
from plant.errors import InputError

CAUTION = (
    "A design and teaching tool, not a medical device. Work on people follows the applicable standards, local codes "
    "and licensed practice."
)
TOP = Path(__file__).resolve().parents[2]
WAITING = ".part"  # ending of a file that is not complete yet


def plain(value: Any) -> Any:
    """A value that JSON can hold: numbers that are not finite become the words nan, inf and -inf."""
    if isinstance(value, dict):
        return {plain(str(k)): plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    if isinstance(value, str):
        return value.encode("utf-8", "backslashreplace").decode()  # file names may hold what is no text
    if isinstance(value, bool) or value is None:
        return value
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    if isinstance(value, complex):
        return {"real": plain(value.real), "imaginary": plain(value.imag)}
    return value


def print_json(document: dict[str, Any]) -> None:
    """JSON alone on standard output."""
    print(json.dumps(plain(document), indent=2, ensure_ascii=False))


def print_lines(lines: list[str], folder: OutputFolder | None, note: str = "") -> None:
    """Lines for people, and where files were written, with a note behind their names."""
    print("\n".join(lines))
    if folder:
        print(f"\nwritten to {plain(str(folder.path))}: {', '.join(folder.written)}{note}")


def own_version() -> str:
    """Version of this project, as it was built from its git tags; `not installed` when it runs from a bare checkout."""
    try:
        return version("cuffloop")
    except PackageNotFoundError:
        return "not installed"


@functools.cache
def own_commit() -> str:
    """The commit that runs, `+changed` behind it where files differ; `unknown` outside a checkout."""
    if not (TOP / ".git").exists():
        return "unknown"
    try:
        commit, changes = (
            subprocess.run(["git", "-C", str(TOP), *words], capture_output=True, timeout=10, check=True).stdout.decode()
            for words in (("rev-parse", "HEAD"), ("status", "--porcelain", "--untracked-files=no")))
    except (OSError, subprocess.SubprocessError):
        return "unknown"
    return commit.strip() + ("+changed" if changes.strip() else "")


def provenance(seed: int | None) -> dict[str, Any]:
    """What is needed to repeat a result: version, commit, libraries, Python, platform, command line or Python call,
    seed; and the caution.
    """
    libraries = {name: version(name) for name in ("numpy", "scipy", "numba", "pydantic")}
    return {
        "provenance": {
            "cuffloop": own_version(), "commit": own_commit(), "python": platform.python_version(),
            "platform": platform.platform(), "libraries": libraries, "command": words_asked(), "seed": seed,
        },
        "caution": CAUTION,
    }


def waiting_name(path: Path) -> Path:
    """The temporary name of a file that is being written."""
    return path.with_name(path.name + WAITING)


@contextmanager
def whole_file(path: Path, what: str = "") -> Iterator[Path]:
    """A temporary name to write to, renamed to `path` at the end; removed when anything goes wrong, Ctrl-C included.

    Raises InputError, after `what` (the option that asked for it), when the place cannot be written.
    """
    temporary = waiting_name(path)
    try:
        yield temporary
        temporary.replace(path)
    except OSError as error:
        raise InputError(f"{what}{path}: cannot be written: {error.strerror or error}") from None
    finally:
        _remove(temporary)


def _remove(path: Path) -> None:
    try:
        path.unlink(missing_ok=True)
    except OSError:
        return  # the place is gone or closed to us; what matters has been said


class OutputFolder:
    """A folder for results. Files wait under temporary names and all get their own when the work is done."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.written: list[str] = []

    @classmethod
    @contextmanager
    def open(cls, path: Path | None) -> Iterator[OutputFolder | None]:
        """The folder, made if need be; None when none was asked for. Raises InputError when it cannot be one.

        When the work inside fails, or is interrupted, no file stays behind, and no folder that was made for it.
        """
        if path is None:
            yield None
            return
        made = _make_folder(path)
        folder = cls(path)
        try:
            yield folder
            for name in folder.written:
                with whole_file(path / name):
                    pass
        except BaseException:
            for name in folder.written:
                _remove(waiting_name(path / name))
            for new in reversed(made):
                _remove_folder(new)
            raise

    def write_json(self, name: str, document: dict[str, Any]) -> None:
        """One JSON document."""
        text = json.dumps(plain(document), indent=2, ensure_ascii=False) + "\n"
        self.write(name, lambda path: path.write_text(text, encoding="utf-8"))

    def write_text(self, name: str, text: str) -> None:
        """One text file."""
        self.write(name, lambda path: path.write_text(text, encoding="utf-8"))

    def write_figures(self, figures: dict[str, Callable[[], Any]]) -> None:
        """Draw and save each figure as a PNG."""
        from functools import partial

        from experiments.work.style import save

        for name, draw in figures.items():
            self.write(f"{name}.png", partial(save, draw()))

    def write_netcdf(self, name: str, dataset: Any) -> None:
        """One xarray data set as classic NetCDF, which every reader knows."""
        self.write(name, lambda path: dataset.to_netcdf(path, engine="scipy"))

    def write(self, name: str, write: Callable[[Path], Any]) -> None:
        """One file of that name, by a function that is given the path to write to."""
        self.written.append(name)  # first, so that it is cleared away should the writing fail halfway
        path = self.path / name
        try:
            if path.is_dir():
                raise IsADirectoryError(None, "a folder has this name")
            write(waiting_name(path))
        except OSError as error:
            raise InputError(f"{path}: cannot be written: {error.strerror or error}") from None


def _make_folder(path: Path) -> list[Path]:
    """Make a folder and say which were new, outermost first. Raises InputError when it cannot be written to."""
    missing = [p for p in (path, *path.parents) if not p.exists()] if _nameable(path) else [path]
    try:
        path.mkdir(parents=True, exist_ok=True)
        probe = path / ".cuffloop-probe"
        probe.touch()
        probe.unlink()
    except (OSError, ValueError) as error:
        for new in missing:
            _remove_folder(new)
        reason = getattr(error, "strerror", None) or error
        raise InputError(f"--out {path}: not a folder that can be written: {reason}") from None
    return missing[::-1]


def _nameable(path: Path) -> bool:
    try:
        path.exists()
    except OSError:  # the name is too long, or leads through what is no folder
        return False
    return True


def _remove_folder(path: Path) -> None:
    try:
        path.rmdir()
    except (OSError, ValueError):
        return  # not there, or no longer empty
