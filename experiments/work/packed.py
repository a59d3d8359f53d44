"""Results as bytes that cannot do anything when read: JSON for the structure, the bare numbers of arrays behind it.

The layout is `length of the JSON (8 bytes, little-endian) · JSON · array · array · …`. In the JSON, `null`, booleans,
numbers and texts stand for themselves, everything else is a list that begins with a word:

    ["list", …]  ["tuple", …]  ["dict", key, value, …]    collections of any of these
    ["class", "module:Name", …]                            a NamedTuple declared with `storable`, field by field
    ["array", "<f8", [3, 2]]  ["scalar", "<f8"]            the next so many bytes behind the JSON

A class is looked for among those that were declared; nothing is imported by a name that stands in a file.
"""
from __future__ import annotations

import json
import math
import re
from typing import Any, TypeVar

import numpy as np

LENGTH_BYTES = 8
PLAIN_DTYPE = re.compile(r"[<>|](?:b1|[iu][1248]|f[248]|c8|c16)")  # no objects, no records, no text
Class = TypeVar("Class", bound=type)

_declared: dict[str, type] = {}


class DamagedError(ValueError):
    """Bytes that `pack` has not made."""


def storable(kind: Class) -> Class:
    """Declare a NamedTuple class as one whose instances may be packed and read again."""
    _declared[_name(kind)] = kind
    return kind


def _name(kind: type) -> str:
    return f"{kind.__module__}:{kind.__qualname__}"


def pack(results: list[Any]) -> bytes:
    """Results as bytes; numbers keep every bit (of a NaN only that it is one).

    Raises TypeError for anything but None, booleans, numbers, text, lists, tuples, dicts, numeric arrays, and
    instances of `storable` classes.
    """
    behind: list[bytes] = []
    structure = json.dumps(_described(results, behind), separators=(",", ":")).encode("ascii")
    return b"".join([len(structure).to_bytes(LENGTH_BYTES, "little"), structure, *behind])


def _described(value: Any, behind: list[bytes]) -> Any:
    kind = type(value)
    if value is None or kind in (bool, int, float, str):
        return value
    if kind in (list, tuple):
        return [kind.__name__, *(_described(item, behind) for item in value)]
    if kind is dict:
        return ["dict", *(_described(item, behind) for pair in value.items() for item in pair)]
    if _declared.get(_name(kind)) is kind:
        return ["class", _name(kind), *(_described(item, behind) for item in value)]
    if kind is np.ndarray or isinstance(value, np.generic):
        code = value.dtype.str
        if PLAIN_DTYPE.fullmatch(code):
            behind.append(value.tobytes())
            return ["array", code, list(value.shape)] if kind is np.ndarray else ["scalar", code]
    raise TypeError(f"a {_name(kind)} cannot be stored: no plain data, and not declared with `storable`")


def unpack(packed: bytes) -> list[Any]:
    """The results again. Raises DamagedError for bytes that `pack` has not made, or a class that is not declared."""
    end = LENGTH_BYTES + int.from_bytes(packed[:LENGTH_BYTES], "little")
    if not LENGTH_BYTES <= end <= len(packed):
        raise DamagedError("shorter than its structure")
    try:
        reader = _Reader(memoryview(packed)[end:])
        results = reader.built(json.loads(packed[LENGTH_BYTES:end]))
    except (ValueError, RecursionError, OverflowError) as error:  # no JSON, absurd numbers, nested too deeply
        raise DamagedError(f"no structure of results: {error}") from None
    if not isinstance(results, list) or len(reader.rest):
        raise DamagedError("no list of results")
    return results


class _Reader:
    """What is left of the bytes behind the JSON, and how each kind of description becomes a value."""

    def __init__(self, rest: memoryview) -> None:
        self.rest = rest

    def built(self, described: Any) -> Any:
        if not isinstance(described, list):
            if isinstance(described, dict):
                raise DamagedError("a JSON object")
            return described
        if not described or not isinstance(described[0], str):
            raise DamagedError("a list without its word")
        word, *parts = described
        if word == "array" or word == "scalar":
            return self._numbers(word, *parts) if len(parts) == 1 + (word == "array") else self._unknown(word)
        if word == "class":
            return self._instance(*parts)
        items = [self.built(part) for part in parts]
        if word == "list":
            return items
        if word == "tuple":
            return tuple(items)
        if word == "dict" and len(items) % 2 == 0 and all(isinstance(key, (str, int)) for key in items[::2]):
            return dict(zip(items[::2], items[1::2], strict=True))
        return self._unknown(word)

    def _unknown(self, word: str) -> Any:
        raise DamagedError(f"{word!r} where it cannot stand")

    def _instance(self, name: Any = None, *parts: Any) -> Any:
        kind: Any = _declared.get(name) if isinstance(name, str) else None
        if kind is None or len(parts) != len(kind._fields):
            raise DamagedError("a class that is not declared, or with other fields")
        return kind(*(self.built(part) for part in parts))

    def _numbers(self, word: str, code: Any, shape: Any = ()) -> Any:
        if not (isinstance(code, str) and PLAIN_DTYPE.fullmatch(code) and isinstance(shape, (list, tuple))
                and all(type(n) is int and n >= 0 for n in shape)):
            raise DamagedError("an array of no plain numbers")
        kind, count = np.dtype(code), math.prod(shape)
        size = count * kind.itemsize
        if size > len(self.rest):
            raise DamagedError("an array longer than the bytes")
        array = np.ndarray(tuple(shape), kind, self.rest[:size]).copy()  # of its own, and writable
        self.rest = self.rest[size:]
        return array if word == "array" else array[()]
