"""Finished runs of a comparison on disk: one file a finger and scenario, written whole or not at all.

Beside them lies a page of settings. A folder that holds runs of other settings, or of another version of the program,
is refused: runs are never mixed.
"""
from __future__ import annotations

import ast
import hashlib
import json
from collections.abc import Iterable
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from experiments.messages import value_text
from experiments.output import whole_file
from experiments.schedule_run import ScheduleRun
from plant.declare import ROOMS
from plant.errors import InputError

SETTINGS = "settings.json"
SHAPING = ("schedule_run", "schedule_names", "instrument", "population", "steps")  # and all that they import
TOP = Path(__file__).resolve().parent.parent


class RunStore:
    """A folder of finished runs."""

    def __init__(self, folder: Path, settings: dict[str, str]) -> None:
        """Take a folder, new or with runs of the same settings. Raises InputError for any other."""
        self.folder = folder
        page = folder / SETTINGS
        there = _read_settings(page)
        if there is None and any(folder.glob("*.npz")):
            raise InputError(f"--out: {folder} holds runs without {SETTINGS}; choose another folder")
        if there is None:
            try:
                folder.mkdir(parents=True, exist_ok=True)
            except OSError as error:
                raise InputError(f"--out: {folder} cannot be made: {error.strerror or error}") from None
            with whole_file(page, "--out ") as temporary:
                temporary.write_text(json.dumps(settings, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
            return
        for key in {**there, **settings}:
            old, new = there.get(key, ""), settings.get(key, "")
            if old != new:
                raise InputError(
                    f"--out: {folder} holds runs of other settings ({key}: {value_text(old)} there, "
                    f"{value_text(new)} now); choose another folder, or remove that one")

    def path(self, scenario: str, finger: str) -> Path:
        """Where the runs of a finger in a scenario are kept."""
        return self.folder / f"{scenario}_{finger}.npz"

    def load(self, scenario: str, finger: str) -> list[ScheduleRun] | None:
        """Runs that were kept, one a schedule; None when there are none, or none that can be read."""
        try:
            with np.load(self.path(scenario, finger), allow_pickle=False) as kept:
                words = json.loads(str(kept["words"]))
                return [
                    ScheduleRun(
                        figures, course[:, : said["bins"]], said["ended"], said["failures"],
                        tuple((float(t), str(w)) for t, w in said["marks"]),
                        tuple((float(t), str(w), float(m), str(y)) for t, w, m, y in said["diary"]),
                    )
                    for figures, course, said in zip(kept["figures"], kept["courses"], words, strict=True)
                ]
        except Exception:  # not there or damaged: a zip file has many ways to say so
            return None

    def save(self, scenario: str, finger: str, runs: list[ScheduleRun]) -> None:
        """Keep runs, whole or not at all. Raises InputError when the place cannot be written."""
        save_runs(self.path(scenario, finger), runs)


def save_runs(path: Path, runs: list[ScheduleRun]) -> None:
    """Write the runs of a finger in a scenario to a file. Raises InputError when the place cannot be written."""
    bins = max(run.course.shape[1] for run in runs)
    courses = np.full((len(runs), 3, bins), np.nan, np.float32)
    for place, run in enumerate(runs):
        courses[place, :, : run.course.shape[1]] = run.course
    words = json.dumps([
        {"bins": run.course.shape[1], "ended": run.ended, "failures": run.failures, "marks": run.marks,
         "diary": run.diary} for run in runs
    ], ensure_ascii=False)
    with whole_file(path, "--out ") as temporary, temporary.open("wb") as file:
        np.savez_compressed(
            file, figures=np.stack([run.figures for run in runs]), courses=courses, words=np.array(words))


def _read_settings(page: Path) -> dict[str, Any] | None:
    """Settings of a folder; None when there are none."""
    try:
        read = json.loads(page.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as error:
        raise InputError(f"--out: {page} cannot be read: {error}; choose another folder") from None
    if not isinstance(read, dict):
        raise InputError(f"--out: {page} holds no settings; choose another folder")
    return read


def program_digest(extra: Iterable[Path] = ()) -> str:
    """Hash of all sources and libraries that shape a run, and of some more files (a user's own)."""
    digest = hashlib.sha256()
    for library in ("numba", "numpy", "scipy"):
        digest.update(f"{library} {version(library)}\n".encode())
    for path in shaping_files():
        digest.update(f"{path.relative_to(TOP)}\n".encode() + path.read_bytes())
    for path in sorted(set(extra)):
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def shaping_files() -> list[Path]:
    """Files that shape a run: `SHAPING` and all of the rooms that they import, wherever in a file the import stands."""
    waiting, found = [f"experiments.{name}" for name in SHAPING], set[Path]()
    while waiting:
        path = TOP / f"{waiting.pop().replace('.', '/')}.py"
        if path in found or not path.is_file():
            continue
        found.add(path)
        for node in ast.walk(ast.parse(path.read_bytes())):
            if isinstance(node, ast.ImportFrom) and node.module and node.module.partition(".")[0] in ROOMS:
                waiting += [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]
            elif isinstance(node, ast.Import):
                waiting += [alias.name for alias in node.names if alias.name.partition(".")[0] in ROOMS]
    return sorted(found)
