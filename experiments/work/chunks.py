"""A study's finished chunks on disk: each written whole or not at all, and read again only by the study it belongs to.

A folder holds `study.json`, which says what the study is, and one file a chunk, named after the content of its pieces:
the SHA-256 of what follows, then the results as `experiments.work.packed` has packed them, which is plain data. A file
that was cut short, changed, or holds anything else does not count as done. A study that is asked for more pieces later
finds those that are done.
"""
from __future__ import annotations

import dataclasses
import functools
import hashlib
import json
import os
import time
from contextlib import suppress
from importlib.metadata import version
from pathlib import Path
from typing import Any

from experiments.work.output import WAITING, plain
from experiments.work.packed import DamagedError, unpack
from plant.errors import InputError
from plant.messages import one_line, value_text

MANIFEST, CHUNK = "study.json", "chunk-"
DIGEST_BYTES = 32
ABANDONED_s = 60.0
TOP = Path(__file__).resolve().parents[2]
ROOMS = ("plant", "controller", "calibrate", "experiments")


class Chunks:
    """The folder of one study."""

    def __init__(self, path: Path, new: bool = False) -> None:
        self.path, self.new = path, new  # new: made by this object

    @classmethod
    def open(cls, path: Path, manifest: dict[str, Any]) -> Chunks:
        """The folder, made if need be. Raises InputError when it holds another study, or anything else."""
        manifest = json.loads(json.dumps(plain(manifest)))
        try:
            path.mkdir(parents=True, exist_ok=True)
            found = _read_manifest(path)
            _sweep_up(path)
            if found is None:
                strange = [p.name for p in path.iterdir() if not p.name.endswith(WAITING)]
                if strange:
                    raise InputError(f"{path}: holds {value_text(strange[0])} and no study; name an empty folder")
                write_whole(path / MANIFEST, json.dumps(manifest, indent=2).encode())
        except OSError as error:
            raise InputError(f"{path}: not a folder that can be written: {error.strerror or error}") from None
        if found is not None and found != manifest:
            raise InputError(f"{path}: {_difference(found, manifest)}; name another folder, or remove this one")
        return cls(path, found is None)

    def _place(self, name: str) -> Path:
        return self.path / f"{CHUNK}{name}"

    def write(self, name: str, packed: bytes) -> None:
        """Keep a chunk as `pack` made it. Raises InputError when it cannot be written."""
        place = self._place(name)
        try:
            write_whole(place, hashlib.sha256(packed).digest() + packed)
        except OSError as error:
            raise InputError(f"{place}: cannot be written: {error.strerror or error}") from None

    def read(self, name: str) -> list[Any] | None:
        """The results of a chunk, or None when it is not there or not whole."""
        try:
            content = self._place(name).read_bytes()
        except OSError:
            return None
        digest, packed = content[:DIGEST_BYTES], content[DIGEST_BYTES:]
        if hashlib.sha256(packed).digest() != digest:
            return None
        try:
            return unpack(packed)
        except DamagedError:
            return None

    def leave(self) -> None:
        """Remove a new folder that holds no chunk: work that failed at once leaves nothing half-written."""
        with suppress(OSError):
            if self.new and {p.name for p in self.path.iterdir()} == {MANIFEST}:
                (self.path / MANIFEST).unlink()
                self.path.rmdir()


def write_whole(path: Path, content: bytes) -> None:
    """Write a file that is there whole or not at all, even when power or process dies. Raises OSError."""
    temporary = path.with_name(f"{path.name}.{os.getpid()}{WAITING}")
    try:
        with temporary.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(path)
    finally:
        temporary.unlink(missing_ok=True)
    if os.name == "posix":  # the name itself, too
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def _sweep_up(path: Path) -> None:
    """Remove what a killed process was just writing; a living one takes moments over it."""
    for left in path.glob(f"*{WAITING}"):
        if time.time() - left.stat().st_mtime > ABANDONED_s:
            left.unlink(missing_ok=True)


def _read_manifest(path: Path) -> dict[str, Any] | None:
    try:
        content = json.loads((path / MANIFEST).read_bytes())
    except FileNotFoundError:
        return None
    except (ValueError, RecursionError):
        raise InputError(f"{path / MANIFEST}: is no description of a study; name another folder") from None
    return content if isinstance(content, dict) else {}


def _difference(found: dict[str, Any], manifest: dict[str, Any]) -> str:
    """What sets another study apart, as far as one line can say."""
    if found.get("code") != manifest["code"]:
        return "holds a study made by another version of the code or its libraries"
    theirs, ours = found.get("about"), manifest["about"]
    if isinstance(theirs, dict) and isinstance(ours, dict):
        for key in (*ours, *theirs):
            if theirs.get(key) != ours.get(key):
                return (f"holds another study: its {one_line(key, 40)} is {value_text(theirs.get(key))}, "
                        f"not {value_text(ours.get(key))}")
    return "holds another study, with other inputs"


def code_version() -> str:
    """Hash of every source file of the project and of the libraries that shape its numbers."""
    digest = hashlib.sha256()
    for library in ("numpy", "scipy", "numba", "llvmlite"):
        digest.update(f"{library} {version(library)}\n".encode())
    for room in ROOMS:
        for path in sorted((TOP / room).rglob("*.py")):
            digest.update(f"{path.relative_to(TOP).as_posix()}\n".encode() + path.read_bytes())
    return digest.hexdigest()[:20]


def fingerprint(value: Any) -> str:
    """Hash of a value's content: numbers, text, collections, arrays, NamedTuples, dataclasses, functions, partials.

    Raises TypeError for anything else: what cannot be told apart must not be taken for the same.
    """
    digest = hashlib.sha256()
    _feed(digest, value)
    return digest.hexdigest()[:20]


def _feed(digest: Any, value: Any) -> None:
    """Add a value, its type and its length, so that no two values read the same."""
    digest.update(f"{type(value).__module__}.{type(value).__qualname__}:".encode())
    if value is None or isinstance(value, (bool, int, str, Path)):
        digest.update(repr(str(value)).encode())
    elif isinstance(value, float):
        digest.update(value.hex().encode())
    elif isinstance(value, bytes):
        digest.update(f"{len(value)}:".encode() + value)
    elif isinstance(value, (list, tuple)):
        digest.update(f"{len(value)}:".encode())
        for item in value:
            _feed(digest, item)
    elif isinstance(value, dict):
        _feed(digest, [item for pair in value.items() for item in pair])
    elif dataclasses.is_dataclass(value) and not isinstance(value, type):
        _feed(digest, [getattr(value, field.name) for field in dataclasses.fields(value)])
    elif isinstance(value, functools.partial):
        _feed(digest, [value.func, value.args, value.keywords])
    elif hasattr(value, "dtype") and hasattr(value, "tobytes"):
        digest.update(f"{value.dtype}{value.shape}".encode() + value.tobytes())
    elif callable(value) and hasattr(value, "__qualname__"):
        digest.update(f"{value.__module__}.{value.__qualname__}".encode())
    else:
        raise TypeError(f"a {type(value).__qualname__} has no fingerprint")
