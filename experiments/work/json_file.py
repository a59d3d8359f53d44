"""JSON that is read back from a file, checked against a declared type before anything looks at it."""
from __future__ import annotations

import json
from pathlib import Path
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from plant.errors import InputError
from plant.messages import one_line, value_text

MOST_BYTES = 50_000_000
WORDS = {"nan": float("nan"), "inf": float("inf"), "-inf": float("-inf")}  # how `plain` writes what JSON has not
Checked = TypeVar("Checked")


def read_json(path: Path, checker: TypeAdapter[Checked], said: str, maker: str) -> Checked:
    """A JSON file as its type. Raises InputError, which begins with `said` and names the `maker` of such files."""
    try:
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        raise InputError(f"{said}: cannot be read: {getattr(error, 'strerror', None) or error}") from None
    if len(content) > MOST_BYTES:
        raise InputError(f"{said}: more than {MOST_BYTES} bytes; {maker} writes less")
    try:
        return checker.validate_python(json.loads(content))
    except ValidationError as error:
        first = error.errors(include_url=False, include_context=False)[0]
        raise InputError(f"{said}: {_complaint(first)}; give what {maker} has written") from None
    except (ValueError, RecursionError):
        raise InputError(f"{said}: is not JSON as {maker} writes it") from None


def _complaint(first: Any) -> str:
    """Key, value and what is wrong, of the first thing that is."""
    key = one_line(".".join(str(step) for step in first["loc"]), 80) or "the document"
    if first["type"] == "missing":
        return f"{key} is missing"
    return f"{key} = {value_text(first['input'])}: {first['msg'][:1].lower()}{one_line(first['msg'][1:], 120)}"


def from_words(value: Any) -> Any:
    """A number that `plain` has written as a word, as the number; for a pydantic BeforeValidator."""
    return WORDS.get(value, value) if isinstance(value, str) else value
