"""All numbers of a nested tuple as a row, in compiled code: what is compared with emitted code."""
from __future__ import annotations

import math
from typing import Any

from numba import types
from numba.extending import overload

from plant.declare import OPTIONS


def flat_into(values: Any, row: Any) -> None:
    """Write every number of a nested tuple to a row, conditions as 0 and 1."""
    raise TypeError("for compiled code only")


def flat_lines(kind: Any, path: str, lines: list[str]) -> None:
    """One assignment a number, in order."""
    if isinstance(kind, types.BaseTuple):
        for i, inner in enumerate(kind.types):
            flat_lines(inner, f"{path}[{i}]", lines)
    else:
        lines.append(f"    row[{len(lines)}] = {path}\n")


@overload(flat_into, jit_options=OPTIONS)
def _flat_into(values, row):  # type: ignore[no-untyped-def]
    lines: list[str] = []
    flat_lines(values, "values", lines)
    scope: dict[str, Any] = {}
    exec(f"def write(values, row):\n{''.join(lines)}", scope)
    return scope["write"]


def from_row(model: Any, row: Any) -> Any:
    """A NamedTuple like `model` from a row: whole numbers rounded down, conditions where a number is above ½."""
    raise TypeError("for compiled code only")


@overload(from_row, jit_options=OPTIONS)
def _from_row(model, row):  # type: ignore[no-untyped-def]
    scope: dict[str, Any] = {"build": model.instance_class, "floor": math.floor}
    forms = {types.boolean: "row[{0}] > 0.5", types.int64: "int(floor(row[{0}]))"}
    parts = [forms.get(kind, "row[{0}]").format(i) for i, kind in enumerate(model.types)]
    exec(f"def read(model, row):\n    return build({', '.join(parts)})\n", scope)
    return scope["read"]
