"""Whether a value that was read from a file is of the type that the code says it makes."""
from __future__ import annotations

import functools
import types
from collections.abc import Callable
from typing import Any, Union, get_args, get_origin, get_type_hints

import numpy as np

NUMBERS: dict[Any, tuple[type, ...]] = {
    bool: (bool, np.bool_), int: (int, np.integer), float: (float, int, np.floating, np.integer)}


def result_type(function: Callable[..., Any]) -> Any:
    """The type that a function, or a partial of one, is annotated to return; Any when it does not say."""
    while isinstance(function, functools.partial):
        function = function.func
    try:
        return get_type_hints(function).get("return", Any)
    except (NameError, TypeError):  # a built-in, or annotations that only a type checker can follow
        return Any


def is_of(value: Any, annotation: Any) -> bool:
    """Whether a value is of an annotated type: plain types, collections, unions, arrays, NamedTuples field by field."""
    if annotation is Any:
        return True
    origin, inside = get_origin(annotation), get_args(annotation)
    if origin in (Union, types.UnionType):
        return any(is_of(value, one) for one in inside)
    if origin is np.ndarray:
        kind = get_args(inside[1])[0] if len(inside) == 2 and get_args(inside[1]) else Any
        return isinstance(value, np.ndarray) and (kind is Any or np.issubdtype(value.dtype, kind))
    if origin is list:
        return type(value) is list and all(is_of(item, inside[0]) for item in value)
    if origin is dict:
        return type(value) is dict and all(is_of(k, inside[0]) and is_of(v, inside[1]) for k, v in value.items())
    if origin is tuple:
        if type(value) is not tuple:
            return False
        if len(inside) == 2 and inside[1] is Ellipsis:
            return all(is_of(item, inside[0]) for item in value)
        return len(value) == len(inside) and all(map(is_of, value, inside))
    if annotation in NUMBERS:
        return isinstance(value, NUMBERS[annotation]) and (annotation is bool or not isinstance(value, bool))
    fields = _fields(annotation) if hasattr(annotation, "_fields") else {}
    if fields:
        return type(value) is annotation and all(is_of(getattr(value, name), kind) for name, kind in fields.items())
    return isinstance(value, annotation) if isinstance(annotation, type) else annotation is None and value is None


@functools.cache
def _fields(kind: Any) -> dict[str, Any]:
    return get_type_hints(kind)
