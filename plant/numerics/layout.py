"""Nested tuples of numbers as rows of an array, one column a finger: how many plants are laid side by side.

An array has the shape (rows, groups, WIDTH): row after row the same number of every finger, so that one vector load
gets it for WIDTH fingers. The compiled loads and stores are written out for a tuple's type, as in `plant.integrate`.
"""
from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any

import numpy as np
from numba import types
from numba.extending import overload
from numpy.typing import NDArray

from plant.declare import OPTIONS
from plant.errors import InputError
from plant.numerics.vector import WIDTH, load, store

Rows = NDArray[np.float64]


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
    """The floats (or all numbers, if `everything`) of one nested tuple a finger, as (rows, groups, WIDTH).

    Raises InputError naming a number that is no float, or a class, in which the fingers differ: they must share it.
    """
    common, columns = shared(fingers[0]), []
    for finger in fingers:
        if not everything and shared(finger) != common:
            raise InputError(_difference(fingers[0], finger))
        columns.append([float(value) for _, value in leaves(finger) if everything or isinstance(value, float)])
    rows = np.array(columns).T
    out: Rows = aligned(len(rows), groups)
    out.reshape(len(rows), -1)[:] = padded(rows, groups)
    return out


def shared(value: Any) -> Any:
    """What fingers side by side must have in common: classes, and every number that is no float. To be compared."""
    if isinstance(value, tuple):
        return (type(value), *(shared(inner) for inner in value))
    return float if isinstance(value, float) else value


def _difference(first: Any, other: Any) -> str:
    for (path, one), (place, another) in zip(leaves(first), leaves(other), strict=False):
        if path != place:
            break
        if shared(one) != shared(another):
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


def load_floats(model: Any, rows: Any, group: int) -> Any:
    """A nested tuple like `model` whose floats are vectors from the rows of a group; other numbers stay the model's."""
    raise TypeError("for compiled code only")


def load_all(model: Any, rows: Any, group: int) -> Any:
    """The same with every number from the rows."""
    raise TypeError("for compiled code only")


def store_all(values: Any, rows: Any, group: int) -> None:
    """Write every number of a nested tuple of vectors to the rows of a group."""
    raise TypeError("for compiled code only")


def _tuple_source(kind: Any, leaf: Callable[[Any, str], str], scope: dict[str, Any], path: str) -> str:
    """Source of a nested tuple of a type with `leaf(type, path)` for each number; classes go into `scope`."""
    if not isinstance(kind, types.BaseTuple):
        return leaf(kind, path)
    inner = "".join(f"{_tuple_source(k, leaf, scope, f'{path}[{i}]')}, " for i, k in enumerate(kind.types))
    if isinstance(kind, types.BaseNamedTuple):
        label = f"class_{len(scope)}"
        scope[label] = kind.instance_class
        return f"{label}({inner})"
    return f"({inner})"


def _loader(model: Any, everything: bool) -> Any:
    scope: dict[str, Any] = {"load": load}
    rows = iter(range(10**6))

    def leaf(kind: Any, path: str) -> str:
        return f"load(rows, {next(rows)}, group)" if everything or isinstance(kind, types.Float) else path

    source = _tuple_source(model, leaf, scope, "model")
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

    def leaf(kind: Any, path: str) -> str:
        lines.append(f"    store(rows, {len(lines)}, group, {path})\n")
        return ""

    _tuple_source(values, leaf, {}, "values")
    scope: dict[str, Any] = {"store": store}
    exec(f"def stored(values, rows, group):\n{''.join(lines)}", scope)
    return scope["stored"]
