"""The user's own scales for a failure-mode table: severity, occurrence and detection from 1 to 10."""
from __future__ import annotations

import math
from pathlib import Path
from typing import Any, NamedTuple

from experiments.rigs.rig import BUILT_IN, read_toml
from plant.errors import InputError
from plant.messages import one_line, value_text

LOWEST, HIGHEST = 1, 10
SCALED = {"severity": ("highest_mmHg", "wrong_s"), "detection": ("detect_s",)}

Ladder = tuple[tuple[float, int], ...]  # (from this figure on, rank), rising


class Scales(NamedTuple):
    """Ladders of ranks, and the occurrence of each failure."""

    about: str
    severity: dict[str, Ladder]
    detection: dict[str, Ladder]
    occurrence: dict[str, int]  # by name of the failure; "default" for all others

    def severity_rank(self, figures: dict[str, float]) -> int:
        """The worst rank that any figure reaches."""
        return _worst(self.severity, figures)

    def detection_rank(self, figures: dict[str, float]) -> int:
        """The worst rank that any figure reaches; infinite seconds are never."""
        return _worst(self.detection, figures)

    def occurrence_rank(self, failure: str) -> int:
        """The rank of a failure by name."""
        return self.occurrence.get(failure, self.occurrence["default"])


def _worst(ladders: dict[str, Ladder], figures: dict[str, float]) -> int:
    ranks = [LOWEST]
    for name, ladder in ladders.items():
        value = figures.get(name, math.nan)
        if math.isnan(value):
            continue
        ranks += [rank for at, rank in ladder if value >= at]
    return max(ranks)


def default_scales() -> Path:
    """The scales that ship, invented."""
    return BUILT_IN / "demonstration_scales.toml"


def load_scales(path: Path) -> Scales:
    """Scales from a TOML file. Raises InputError naming file, key, value and what is allowed."""
    table = read_toml(path)
    for key in table:
        if key not in ("about", "occurrence", *SCALED):
            raise InputError(f"{path}: {one_line(key, 60)} is not a scale; use about, severity, occurrence, detection")
    ladders = {name: _ladders(table.get(name), name, figures, path) for name, figures in SCALED.items()}
    occurrence = table.get("occurrence")
    if not isinstance(occurrence, dict) or "default" not in occurrence:
        raise InputError(f"{path}: occurrence needs a default rank from {LOWEST} to {HIGHEST}")
    ranks = {str(key): _rank(value, f"occurrence.{one_line(key, 60)}", path) for key, value in occurrence.items()}
    return Scales(str(table.get("about", "")), ladders["severity"], ladders["detection"], ranks)


def _ladders(table: Any, name: str, figures: tuple[str, ...], path: Path) -> dict[str, Ladder]:
    if not isinstance(table, dict) or not table:
        raise InputError(f"{path}: [{name}] must be a table with {' or '.join(figures)}")
    found: dict[str, Ladder] = {}
    for figure, steps in table.items():
        key = f"{name}.{one_line(figure, 60)}"
        if figure not in figures:
            raise InputError(f"{path}: {key} is not a figure of this scale; use {' or '.join(figures)}")
        if not isinstance(steps, list) or not steps:
            raise InputError(f"{path}: {key} = {value_text(steps)} must be a list of {{ at = number, rank = 1 to 10 }}")
        found[figure] = tuple(_step(step, f"{key}[{i}]", path) for i, step in enumerate(steps))
        if list(found[figure]) != sorted(found[figure]):
            raise InputError(f"{path}: {key} must rise, in `at` and in rank")
    return found


def _step(step: Any, key: str, path: Path) -> tuple[float, int]:
    if not isinstance(step, dict) or set(step) != {"at", "rank"}:
        raise InputError(f"{path}: {key} = {value_text(step)} must read {{ at = number, rank = 1 to 10 }}")
    at = step["at"]
    if isinstance(at, bool) or not isinstance(at, (int, float)) or not 0.0 <= at <= 1e9:
        raise InputError(f"{path}: {key}.at = {value_text(at)} must be a number from 0 to 1e9")
    return float(at), _rank(step["rank"], f"{key}.rank", path)


def _rank(value: Any, key: str, path: Path) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not LOWEST <= value <= HIGHEST:
        raise InputError(f"{path}: {key} = {value_text(value)} must be a whole number from {LOWEST} to {HIGHEST}")
    return value
