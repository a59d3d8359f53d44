"""Whose code a rig file runs: `kind = "FILE.py:Class"` names a Python file, and loading the rig runs it.

Who writes a rig and starts a study on it knows that. Who goes on with a study that lies there, or puts one into a
report, may have been handed the whole folder: a rig with code of its own is then refused until it is trusted.
"""
from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from experiments.rigs.rig import KINDS, read_rig
from experiments.work.chunks import MANIFEST
from plant.errors import InputError
from plant.messages import value_text


def own_code(tables: dict[str, Any]) -> str:
    """The first kind of part in a rig's tables that is not built in, as `table.kind = …`; empty when there is none."""
    for table, kinds in KINDS.items():
        part = tables.get(table)
        kind = part.get("kind", next(iter(kinds))) if isinstance(part, dict) else None
        if isinstance(kind, str) and kind not in kinds:
            return f"{table}.kind = {value_text(kind)}"
    return ""


def refuse_own_code(rig: str, settings: list[str] | None, trusted: bool, where: str) -> None:
    """Raise InputError for a rig that names a Python file, unless it is trusted. Reads the file and runs nothing."""
    if trusted:
        return
    named = own_code(read_rig(rig, settings).tables)
    if named:
        raise InputError(f"{where}, and rig {rig} names a Python file to run ({named}); look at it, then add --trust")


def refuse_when_resumed(rig: str, settings: list[str] | None, trusted: bool, kept: Path | None) -> None:
    """The same for the folder of a study's chunks, when it is not the first time that something is put there."""
    if kept is not None and os.path.exists(kept / MANIFEST):
        refuse_own_code(rig, settings, trusted, f"--out {kept.parent}: a study is there to be gone on with")
