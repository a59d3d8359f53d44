"""What a report reads of a study of failures: the keys of its JSON file, and what may stand in them."""
from __future__ import annotations

from typing import Annotated

from pydantic import BeforeValidator, ConfigDict, Field, TypeAdapter
from typing_extensions import TypedDict

from experiments.work.json_file import from_words

MOST_RUNS = 2**53
Text = Annotated[str, Field(max_length=1000)]
Number = Annotated[float, BeforeValidator(from_words)]
Count = Annotated[int, Field(ge=0, le=MOST_RUNS)]
Hours = Annotated[float, Field(ge=0.0, le=1e9)]
STRICT = ConfigDict(strict=True)  # no text for a number, no number for a text


class _Newer(TypedDict, total=False):
    skin_degC: Number | None  # studies did not always say it


class FailureRow(_Newer):
    """One failure with one set of protections; nan or None where there is no such time."""

    __pydantic_config__ = STRICT  # type: ignore[misc]
    fault: Text
    item: Text
    mode: Text
    kind: Text
    caught_by: Text
    runs: Annotated[int, Field(ge=1, le=MOST_RUNS)]
    broken_runs: Count
    undetected: Count
    detected_median_s: Number | None
    detected_worst_s: Number | None
    highest_mmHg: Number
    vent_20_s: Number | None
    wrong_mmHg: Number | None
    wrong_s: Number | None
    breaks: Annotated[list[Text], Field(max_length=100)]


class Provenance(TypedDict):
    """How the study can be repeated."""

    __pydantic_config__ = STRICT  # type: ignore[misc]
    command: Annotated[str, Field(max_length=100_000)]


class _Optional(TypedDict, total=False):
    settings: list[Text]
    limits_note: Text
    not_applicable: dict[Text, Text]  # failures that the rig cannot have, and why


class StudyDocument(_Optional):
    """The whole file, as far as a report looks at it."""

    __pydantic_config__ = STRICT  # type: ignore[misc]
    rig: Text
    failures: list[FailureRow]
    without: dict[Text, list[FailureRow]]
    limits: dict[Text, Number]
    person_hours: Hours
    false_alarms: Count
    provenance: Provenance


CHECKER: TypeAdapter[StudyDocument] = TypeAdapter(StudyDocument)
