"""A finished study of failures, as `cuffloop faults` writes it, turned into the evidence of a report."""
from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

from experiments.rigs.rig import Rig
from experiments.safety.report.causes import cause_of
from experiments.safety.report.failure_table import Failure, NORMAL_s, Outcome
from plant.errors import InputError
from plant.messages import one_line

FILE = "faults.json"
PICTURES = {  # name: (file, what it shows), in the order in which a page shows them
    "fallback": ("fallback.png", "The states in which the firmware falls back, and what leads from one to another"),
    "matrix": ("faults.png", "Which limit breaks: every failure with all protection, and without each in turn"),
}


def study_file(place: Path) -> Path:
    """The JSON file of a study, given its folder or the file itself."""
    return place / FILE if place.is_dir() else place


def study_figures(place: Path) -> dict[str, tuple[bytes, str]]:
    """The pictures of a study that lie beside its JSON file: (PNG, what it shows)."""
    beside = {name: (study_file(place).with_name(file), words) for name, (file, words) in PICTURES.items()}
    return {name: (path.read_bytes(), words) for name, (path, words) in beside.items() if path.is_file()}


def read_study(place: Path) -> dict[str, Any]:
    """The document of a study, from its folder or its JSON file. Raises InputError."""
    path = study_file(place)
    try:
        document: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"--faults {path}: cannot be read: {error.strerror or error}") from None
    except ValueError:
        raise InputError(f"--faults {path}: is not JSON as `cuffloop faults --out` writes it") from None
    for key in ("rig", "failures", "without", "limits", "person_hours", "false_alarms", "provenance"):
        if not isinstance(document, dict) or key not in document:
            raise InputError(f"--faults {path}: {key} is missing; give what `cuffloop faults --out` has written")
    return document


def check_same_rig(document: dict[str, Any], rig: Rig, given: str, settings: list[str], place: Path) -> None:
    """Raise InputError when a study was made on another rig, or with other settings, than the report's."""
    made = one_line(document["rig"], 60)
    if document["rig"] not in (given, rig.name) or list(document.get("settings", [])) != settings:
        changed = " ".join(f"--set {one_line(s, 60)}" for s in document.get("settings", []))
        raise InputError(f"--faults {place}: was made on rig {made} {changed}".rstrip()
                         + f", the report is about {' '.join([given, *(f'--set {s}' for s in settings)])}")


def failures_of(document: dict[str, Any]) -> list[Failure]:
    """All failures of a study, with what each protection's loss does; physiology is left out."""
    lost: dict[str, dict[str, Outcome]] = {}
    for protection, rows in document["without"].items():
        for row in rows:
            lost.setdefault(row["fault"], {})[protection] = outcome_of(row)
    return [
        Failure(
            row["fault"], row["item"], row["mode"], effect_text(row), cause_of(row["fault"]),
            row["caught_by"].replace("_", " ") or "nothing", int(row["runs"]), int(row["broken_runs"]),
            int(row["undetected"]), _number(row["detected_median_s"], math.nan), outcome_of(row),
            lost.get(row["fault"], {}),
        )
        for row in document["failures"] if row["kind"] == "failure"
    ]


def outcome_of(row: dict[str, Any]) -> Outcome:
    """The worst over all runs of a row; a failure that was missed once was not detected."""
    missed = int(row["undetected"]) > 0
    detect = math.inf if missed else _number(row["detected_worst_s"], math.inf)
    return Outcome(
        _number(row["highest_mmHg"], math.nan), detect, _number(row["vent_20_s"], math.inf),
        _number(row["wrong_mmHg"], 0.0), _number(row["wrong_s"], 0.0), tuple(row["breaks"]),
    )


def _number(value: Any, missing: float) -> float:
    found = float(value) if value is not None else math.nan
    return missing if math.isnan(found) else found


def effect_text(row: dict[str, Any]) -> str:
    """What the wearer and the reader get, in words, from the worst run with all protection."""
    highest, wrong, wrong_s = (_number(row[key], 0.0) for key in ("highest_mmHg", "wrong_mmHg", "wrong_s"))
    parts = [f"up to {highest:.0f} mmHg on the finger"]
    if wrong_s > NORMAL_s:
        parts.append(f"{wrong:.0f} mmHg wrong for {wrong_s:.1f} s, unsaid")
    return "; ".join(parts)


def physiology_of(document: dict[str, Any]) -> tuple[float, int]:
    """(finger-hours in which nothing may trip, false alarms), as the study has counted them."""
    return _number(document["person_hours"], 0.0), int(document["false_alarms"])


def limit_words(document: dict[str, Any]) -> tuple[str, ...]:
    """The limits of a study, and what they stand on."""
    words = [f"{name} = {value:g}" for name, value in document["limits"].items()]
    return (*words, str(document.get("limits_note", "")))
