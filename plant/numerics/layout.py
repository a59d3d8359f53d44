"""Nested tuples of numbers as rows of an array, one column a finger: how many plants are laid side by side.

An array has the shape (rows, groups, WIDTH): row after row the same number of every finger, so that one vector load
gets it for WIDTH fingers. The compiled loads and stores are written out for a tuple's type, as in `plant.integrate`.
"""
from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any, TypeVar

import numpy as np
from numba import types
from numba.extending import overload
from numpy.typing import NDArray

from plant.declare import OPTIONS
from plant.errors import InputError
from plant.numerics.vector import WIDTH, choose, load, store

Rows = NDArray[np.float64]
Class = TypeVar("Class", bound=type)
OWN = "_own_numbers"


def all_own(kind: Class) -> Class:
    """Mark a NamedTuple class all of whose numbers, whole ones and switches too, may differ from finger to finger."""
    setattr(kind, OWN, True)
    return kind



def aligned(rows: int, groups: int, kind: Any = np.float64) -> Any:
    """An array of shape (rows, groups, WIDTH), as it comes, so placed that every vector is in one cache line."""
    count = rows * groups * WIDTH
    room = np.empty(count + WIDTH, kind)
    skip = -room.ctypes.data % (8 * WIDTH) // 8
    return room[skip : skip + count].reshape(rows, groups, WIDTH)


def leaves(value: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Every number in a nested tuple, in order, with its dotted name."""
    if isinstance(value, tuple):
        names = getattr(value, "_fields", range(len(value)))
        for name, inner in zip(names, value, strict=True):
            yield from leaves(inner, f"{path}.{name}" if path else str(name))
    else:
        yield path, value


def padded(values: Any, groups: int) -> Any:
    """The last axis filled up to whole groups: lanes to spare repeat the last finger."""
    spare = groups * WIDTH - values.shape[-1]
    return np.concatenate([values, np.repeat(values[..., -1:], spare, axis=-1)], axis=-1)


def laid_out(fingers: Sequence[Any], groups: int, everything: bool = False) -> Rows:
    """The numbers of one nested tuple a finger that are its `own` (all, if `everything`), as (rows, groups, WIDTH).

    Raises InputError naming another number, or a class, in which the fingers differ: they must share it.
    """
    common, columns = shared(fingers[0]), []
    for finger in fingers:
        if not everything and shared(finger) != common:
            raise InputError(_difference(fingers[0], finger))
        columns.append([float(value) for _, value in own(finger, every=everything)])
    rows = np.array(columns).T
    out: Rows = aligned(len(rows), groups)
    out.reshape(len(rows), -1)[:] = padded(rows, groups)
    return out


def own(value: Any, path: str = "", every: bool = False) -> Iterator[tuple[str, Any]]:
    """The numbers that are each finger's own, with their names: floats, and all of a class marked by `all_own`."""
    every = every or getattr(value, OWN, False)
    if isinstance(value, tuple):
        names = getattr(value, "_fields", range(len(value)))
        for name, inner in zip(names, value, strict=True):
            yield from own(inner, f"{path}.{name}" if path else str(name), every)
    elif every or isinstance(value, float):
        yield path, value


def shared(value: Any, every: bool = False) -> Any:
    """What fingers side by side must have in common: classes, and every number that is not each one's own."""
    every = every or getattr(value, OWN, False)
    if isinstance(value, tuple):
        return (type(value), *(shared(inner, every) for inner in value))
    return float if every or isinstance(value, float) else value


def _difference(first: Any, other: Any) -> str:
    free = {path for path, _ in own(first)}
    for (path, one), (place, another) in zip(leaves(first), leaves(other), strict=False):
        if path != place:
            break
        if path not in free and shared(one) != shared(another):
            return f"{path}: {one} and {another}: fingers side by side must have the same"
    return "fingers side by side must be made of the same kinds of parts"


def restored(model: Any, column: Sequence[float]) -> Any:
    """A nested tuple like `model` with the numbers of one column, all of them."""
    numbers = iter(column)

    def rebuild(value: Any) -> Any:
        if isinstance(value, tuple):
            parts = [rebuild(inner) for inner in value]
            return type(value)(*parts) if hasattr(value, "_fields") else tuple(parts)
        return type(value)(next(numbers))

    return rebuild(model)


# --- in compiled code -----------------------------------------------------------------------------------------------


def row_of(rows: Any, row: int, group: int) -> Any:
    """Number `row` of a flat array or, of one as in `aligned`, the vector of that row and group."""
    return rows[row]


def set_row(rows: Any, row: int, group: int, value: Any) -> None:
    """Put a number, or a vector, where `row_of` finds it."""
    rows[row] = value


@overload(row_of, jit_options=OPTIONS)
def _row_of(rows, row, group):  # type: ignore[no-untyped-def]
    if rows.ndim == 1:
        return lambda rows, row, group: rows[row]
    return lambda rows, row, group: load(rows, row, group)


@overload(set_row, jit_options=OPTIONS)
def _set_row(rows, row, group, value):  # type: ignore[no-untyped-def]
    if rows.ndim == 1:
        def set_one(rows, row, group, value):  # type: ignore[no-untyped-def]
            rows[row] = value

        return set_one
    return lambda rows, row, group, value: store(rows, row, group, value)


def load_floats(model: Any, rows: Any, group: int) -> Any:
    """A nested tuple like `model` whose `own` numbers are vectors from the rows of a group; others stay the model's."""
    raise TypeError("for compiled code only")


def load_all(model: Any, rows: Any, group: int) -> Any:
    """The same with every number from the rows."""
    raise TypeError("for compiled code only")


def store_all(values: Any, rows: Any, group: int) -> None:
    """Write every number of a nested tuple of vectors to the rows of a group."""
    raise TypeError("for compiled code only")


def _tuple_source(
    kind: Any, leaf: Callable[[Any, str, bool], str], scope: dict[str, Any], path: str, every: bool
) -> str:
    """Source of a nested tuple of a type with `leaf(type, path, every)` for each number; classes go into `scope`."""
    if not isinstance(kind, types.BaseTuple):
        return leaf(kind, path, every)
    every = every or getattr(getattr(kind, "instance_class", None), OWN, False)
    inner = "".join(f"{_tuple_source(k, leaf, scope, f'{path}[{i}]', every)}, " for i, k in enumerate(kind.types))
    if isinstance(kind, types.BaseNamedTuple):
        label = f"class_{len(scope)}"
        scope[label] = kind.instance_class
        return f"{label}({inner})"
    return f"({inner})"


def _loader(model: Any, everything: bool) -> Any:
    scope: dict[str, Any] = {"load": load}
    rows = iter(range(10**6))

    def leaf(kind: Any, path: str, every: bool) -> str:
        if not (every or isinstance(kind, types.Float)):
            return path
        number = f"load(rows, {next(rows)}, group)"
        return f"({number} > 0.5)" if isinstance(kind, types.Boolean) else number

    source = _tuple_source(model, leaf, scope, "model", everything)
    exec(f"def loaded(model, rows, group):\n    return {source}\n", scope)
    return scope["loaded"]


@overload(load_floats, jit_options=OPTIONS)
def _load_floats(model, rows, group):  # type: ignore[no-untyped-def]
    return _loader(model, False)


@overload(load_all, jit_options=OPTIONS)
def _load_all(model, rows, group):  # type: ignore[no-untyped-def]
    return _loader(model, True)


@overload(store_all, jit_options=OPTIONS)
def _store_all(values, rows, group):  # type: ignore[no-untyped-def]
    lines: list[str] = []

    def leaf(kind: Any, path: str, every: bool) -> str:
        switch = getattr(kind, "base", kind) == types.boolean
        number = f"choose({path}, 1.0, 0.0)" if switch else path
        lines.append(f"    store(rows, {len(lines)}, group, {number})\n")
        return ""

    _tuple_source(values, leaf, {}, "values", True)
    scope: dict[str, Any] = {"store": store, "choose": choose}
    exec(f"def stored(values, rows, group):\n{''.join(lines)}", scope)
    return scope["stored"]
