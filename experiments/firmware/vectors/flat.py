"""All numbers of a nested tuple as a row, in compiled code: what is compared with emitted code.

A whole number of 64 bits goes as two, each of 32 without a sign, which every arithmetic of a row holds exactly.
"""
from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from numba import types
from numba.extending import overload

from experiments.firmware.emit.kinds import wide_fields
from plant.declare import OPTIONS


def flat_into(values: Any, row: Any) -> None:
    """Write every number of a nested tuple to a row, conditions as 0 and 1, wide ones as two."""
    raise TypeError("for compiled code only")


def flat_lines(kind: Any, path: str, lines: list[str]) -> None:
    """One assignment a number, in order."""
    if isinstance(kind, types.BaseTuple):
        own = getattr(kind, "instance_class", None)
        wide = wide_fields(own) if own is not None else frozenset()
        names = own._fields if own is not None else range(len(kind.types))
        for i, (name, inner) in enumerate(zip(names, kind.types, strict=True)):
            if name in wide:
                lines.append(f"    row[{len(lines)}] = ({path}[{i}] >> 32) & 0xFFFFFFFF\n")
                lines.append(f"    row[{len(lines)}] = {path}[{i}] & 0xFFFFFFFF\n")
            else:
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


def columns(value: Any, path: str = "") -> Iterator[str]:
    """The name of each number in such a row."""
    if not isinstance(value, tuple):
        yield path
        return
    own = type(value)
    wide = wide_fields(own) if hasattr(own, "_fields") else frozenset()
    for name, inner in zip(getattr(own, "_fields", range(len(value))), value, strict=True):
        below = f"{path}.{name}" if path else str(name)
        if name in wide:
            yield from (f"{below}.high", f"{below}.low")
        else:
            yield from columns(inner, below)


def from_row(model: Any, row: Any) -> Any:
    """A NamedTuple like `model` from a row: conditions where a number is above ½, whole numbers rounded down.

    Whole numbers of a row come on top of the model's own: what has more bits than a row's numbers hold goes so.
    """
    raise TypeError("for compiled code only")


@overload(from_row, jit_options=OPTIONS)
def _from_row(model, row):  # type: ignore[no-untyped-def]
    scope: dict[str, Any] = {"build": model.instance_class, "floor": math.floor}
    forms = {types.boolean: "row[{0}] > 0.5", types.int64: "model[{0}] + int(floor(row[{0}]))"}
    parts = [forms.get(kind, "row[{0}]").format(i) for i, kind in enumerate(model.types)]
    exec(f"def read(model, row):\n    return build({', '.join(parts)})\n", scope)
    return scope["read"]
