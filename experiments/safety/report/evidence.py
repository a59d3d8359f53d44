"""A finished study of failures, as `cuffloop faults` writes it, turned into the evidence of a report."""
from __future__ import annotations

import math
from pathlib import Path
from typing import Literal

from experiments.rigs.rig import ALIASES, Rig
from experiments.safety.faults.fault import FAILURE
from experiments.safety.faults.findings import Failure, Outcome
from experiments.safety.report.causes import cause_of
from experiments.safety.report.failure_table import NORMAL_s
from experiments.safety.report.study_document import CHECKER, FailureRow, StudyDocument
from experiments.work.json_file import read_json
from plant.errors import InputError
from plant.messages import one_line

FILE = "faults.json"
FIGURES: tuple[Literal["highest_mmHg", "wrong_mmHg", "wrong_s"], ...] = ("highest_mmHg", "wrong_mmHg", "wrong_s")
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


def read_study(place: Path) -> StudyDocument:
    """The document of a study, from its folder or its JSON file. Raises InputError."""
    path = study_file(place)
    document = read_json(path, CHECKER, f"--faults {path}", "`cuffloop faults --out`")
    if not any(row["kind"] == FAILURE for row in document["failures"]):
        raise InputError(f"--faults {path}: no failure was run in this study; nothing can be said about it")
    for row in document["failures"]:
        if max(row["broken_runs"], row["undetected"]) > row["runs"]:
            raise InputError(f"--faults {path}: {one_line(row['fault'], 60)} has more runs that went wrong than runs")
    return document


def check_same_rig(document: StudyDocument, rig: Rig, given: str, settings: list[str], place: Path) -> None:
    """Raise InputError when a study was made on another rig, or with other settings, than the report's."""
    made = one_line(document["rig"], 60)
    theirs, ours = (ALIASES.get(name, name) for name in (document["rig"], given))
    if theirs not in (ours, rig.name) or list(document.get("settings", [])) != settings:
        changed = " ".join(f"--set {one_line(s, 60)}" for s in document.get("settings", []))
        raise InputError(f"--faults {place}: was made on rig {made} {changed}".rstrip()
                         + f", the report is about {' '.join([given, *(f'--set {s}' for s in settings)])}")


def failures_of(document: StudyDocument) -> list[Failure]:
    """All failures of a study, with what each protection's loss does; physiology is left out."""
    lost: dict[str, dict[str, Outcome]] = {}
    for protection, rows in document["without"].items():
        for row in rows:
            lost.setdefault(row["fault"], {})[protection] = outcome_of(row)
    return [
        Failure(
            row["fault"], row["item"], row["mode"], effect_text(row), cause_of(row["fault"]),
            row["caught_by"].replace("_", " ") or "nothing", row["runs"], row["broken_runs"],
            row["undetected"], _number(row["detected_median_s"], math.nan), outcome_of(row),
            lost.get(row["fault"], {}),
        )
        for row in document["failures"] if row["kind"] == FAILURE
    ]


def outcome_of(row: FailureRow) -> Outcome:
    """The worst over all runs of a row; a failure that was missed once was not detected."""
    missed = row["undetected"] > 0
    detect = math.inf if missed else _number(row["detected_worst_s"], math.inf)
    return Outcome(
        _number(row["highest_mmHg"], math.nan), detect, _number(row["vent_20_s"], math.inf),
        _number(row["wrong_mmHg"], 0.0), _number(row["wrong_s"], 0.0), tuple(row["breaks"]),
        _number(row.get("skin_degC"), math.nan),
    )


def _number(value: float | None, missing: float) -> float:
    found = math.nan if value is None else value
    return missing if math.isnan(found) else found


def effect_text(row: FailureRow) -> str:
    """What the wearer and the reader get, in words, from the worst run with all protection."""
    highest, wrong, wrong_s = (_number(row[key], 0.0) for key in FIGURES)
    parts = [f"up to {highest:.0f} mmHg on the finger"]
    if wrong_s > NORMAL_s:
        parts.append(f"{wrong:.0f} mmHg wrong for {wrong_s:.1f} s, unsaid")
    return "; ".join(parts)


def physiology_of(document: StudyDocument) -> tuple[float, int]:
    """(finger-hours in which nothing may trip, false alarms), as the study has counted them."""
    return document["person_hours"], document["false_alarms"]


def limit_values(document: StudyDocument) -> dict[str, float]:
    """The limits of a study by name."""
    return {name: float(value) for name, value in document["limits"].items()}


def limit_words(document: StudyDocument) -> tuple[str, ...]:
    """The limits of a study, and what they stand on."""
    words = [f"{name} = {value:g}" for name, value in document["limits"].items()]
    return (*words, str(document.get("limits_note", "")))
