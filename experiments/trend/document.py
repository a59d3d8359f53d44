"""What a report reads of readings over hours: the keys of `trend.json`, checked, and the pictures beside it."""
from __future__ import annotations

from pathlib import Path
from typing import Annotated

from pydantic import BeforeValidator, ConfigDict, Field, TypeAdapter
from typing_extensions import TypedDict

from experiments.rigs.rig import Rig
from experiments.work.json_file import from_words, read_json
from plant.errors import InputError
from plant.messages import one_line

FILE = "trend.json"
Text = Annotated[str, Field(max_length=300)]
Number = Annotated[float, BeforeValidator(from_words)]
Pair = Annotated[list[Number], Field(min_length=2, max_length=2)]
STRICT = ConfigDict(strict=True)


class RowDocument(TypedDict):
    """One schedule in one scenario."""

    __pydantic_config__ = STRICT  # type: ignore[misc]
    scenario: Text
    schedule: Text
    ended: Text
    lost_share: Number
    gaps_per_h: Number
    availability: Number
    systolic_mmHg: Pair
    arm_mean_mmHg: Pair
    level_drift_mmHg_h: Number
    output_rms_percent: Number
    output_drift_percent_h: Number
    null_rms_percent: Number
    variation_percent: Pair


class WayDocument(TypedDict):
    """One way to show two fingers in turn."""

    __pydantic_config__ = STRICT  # type: ignore[misc]
    way: Text
    step_sd_mmHg: Number
    error_sd_mmHg: Number
    last_hour_sd_mmHg: Number
    step_output_percent: Number


class TurnsDocument(TypedDict):
    """Two fingers in turn."""

    __pydantic_config__ = STRICT  # type: ignore[misc]
    told: dict[Text, Number]
    ways: Annotated[list[WayDocument], Field(max_length=20)]


class HarmDocument(TypedDict):
    """What one failure does to readings."""

    __pydantic_config__ = STRICT  # type: ignore[misc]
    name: Text
    warned_s: Number
    caught_by: Text
    beats: Annotated[int, Field(ge=0, le=10**6)]
    systolic_mmHg: Number
    mean_mmHg: Number
    diastolic_mmHg: Number
    output_percent: Number
    variation_points: Number


class _Provenance(TypedDict):
    __pydantic_config__ = STRICT  # type: ignore[misc]
    command: Annotated[str, Field(max_length=100_000)]


class TrendDocument(TypedDict):
    """The whole file, as far as a report looks at it."""

    __pydantic_config__ = STRICT  # type: ignore[misc]
    rig: Text
    person: Text
    minutes: Number
    estimator: Text
    window_s: Number
    rows: Annotated[list[RowDocument], Field(max_length=1000)]
    turns: TurnsDocument
    failures: Annotated[list[HarmDocument], Field(max_length=1000)]
    provenance: _Provenance


CHECKER: TypeAdapter[TrendDocument] = TypeAdapter(TrendDocument)


def trend_file(place: Path) -> Path:
    """The JSON file, given its folder or the file itself."""
    return place / FILE if place.is_dir() else place


def read_trend(place: Path, rig: Rig) -> TrendDocument:
    """The document in a folder or file. Raises InputError when it is none, or of another rig."""
    path = trend_file(place)
    document = read_json(path, CHECKER, f"--trend {path}", "`cuffloop trend --out`")
    if document["rig"] != rig.name:
        raise InputError(f"--trend {path}: was made on rig {one_line(document['rig'], 60)}, the report is about "
                         f"{rig.name}")
    return document


def trend_pictures(place: Path, document: TrendDocument) -> dict[str, tuple[bytes, str]]:
    """The pictures beside the file: (PNG, what it shows)."""
    scenarios = dict.fromkeys(row["scenario"] for row in document["rows"])
    words = {f"hour_{name}": f"Mean pressure, output and variation over time in scenario {name}, under each schedule"
             for name in scenarios if name.isidentifier()}
    words |= {"turns": "Two fingers in turn: the level over a day",
              "failures": "Failures that reach a reading before a warning"}
    beside = {name: trend_file(place).with_name(f"{name}.png") for name in words}
    return {name: (path.read_bytes(), words[name]) for name, path in beside.items() if path.is_file()}
