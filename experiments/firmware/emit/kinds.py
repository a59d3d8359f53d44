"""Kinds of values in emitted code, the numbers they are written with, and the refusal of what has no kind.

A function is emitted for the kinds of its arguments, as Numba compiles it for their types. Kinds come from example
values: a rig's own firmware says which actuator stage there is.
"""
from __future__ import annotations

import math
import re
import types
from dataclasses import dataclass
from functools import cache
from typing import Any, NamedTuple, get_type_hints

import numpy as np

from controller.fixed.words import Wide
from plant.declare import UNSIGNED
from plant.errors import InputError


@dataclass(frozen=True)
class Scalar:
    """One number, condition or word."""

    name: str


@dataclass(frozen=True)
class Struct:
    """A NamedTuple class with the kinds of its fields, or what a function returns that returns several values."""

    name: str
    fields: tuple[tuple[str, Kind], ...]
    source: type | None = None


REAL, WHOLE, FLAG, WORD = Scalar("real"), Scalar("whole"), Scalar("flag"), Scalar("word")
LONG = Scalar("long")  # a whole number of 64 bits: what is annotated as `Wide`
COUNT = Scalar("count")  # one of 32 bits without a sign: what is annotated as `Unsigned`
WHOLES = {"Wide": LONG, "Unsigned": COUNT}
Kind = Scalar | Struct
KEYWORDS = frozenset(  # of C99
    """
    auto break case char const continue default do double else enum extern float for goto if inline int long register
    restrict return short signed sizeof static struct switch typedef union unsigned void volatile while bool true false
    """.split())  # noqa: SIM905  (a list of words reads best as words)
LIBRARY = frozenset(  # names of the C library that emitted code must not redefine
    """
    abs acos asin atan atan2 ceil copysign cos exp exp2 expm1 fabs floor fma fmax fmin fmod frexp hypot index j0 j1
    ldexp lgamma log log10 log1p log2 memcpy memset modf nan pow remainder rint round signal sin sinh sqrt tan tanh
    time timer trunc y0 y1 yn jn gamma div exit remove rename system
    """.split())  # noqa: SIM905


class Refusal(InputError):
    """Source outside the subset that can be emitted: file, line and what it is."""


@dataclass(frozen=True)
class Numbers:
    """The arithmetic of emitted code: IEEE 754 double or single precision."""

    name: str

    @property
    def c_type(self) -> str:
        """The C type of a real number."""
        return "double" if self.name == "double" else "float"

    @property
    def bits(self) -> int:
        """Bits of a real number."""
        return 64 if self.name == "double" else 32

    @property
    def suffix(self) -> str:
        """What literals and library functions end in."""
        return "" if self.name == "double" else "f"

    def literal(self, value: float) -> str:
        """The shortest decimal that gives this number in this arithmetic."""
        if math.isnan(value):
            return f"({self.c_type})NAN"
        with np.errstate(over="ignore", under="ignore"):
            held = float(value) if self.name == "double" else np.float32(value)
        if math.isinf(held):
            return f"({self.c_type})INFINITY" if held > 0 else f"(-({self.c_type})INFINITY)"
        text = repr(held) if self.name == "double" else str(held)
        text = text if re.search(r"[.e]", text) else text + ".0"
        return f"({text}{self.suffix})" if text.startswith("-") else text + self.suffix


DOUBLE, SINGLE = Numbers("double"), Numbers("single")
NUMBERS = {"double": DOUBLE, "single": SINGLE}


def safe(name: str) -> str:
    """A name as C can have it."""
    return f"{name}_" if name in KEYWORDS else name


@cache
def hints_of(kind: type) -> dict[str, Any]:
    """Annotated types of a NamedTuple's fields."""
    return get_type_hints(kind)


@cache
def row_class(count: int) -> Any:
    """The class that stands for a plain tuple of so many numbers."""
    made = NamedTuple(f"Row{count}", [(f"at_{i}", float) for i in range(count)])  # type: ignore[misc]
    made.__doc__ = f"{count} numbers in a row."
    return made


@cache
def declared_wholes(kind: type) -> dict[str, Scalar]:
    """Fields of a NamedTuple that are declared as whole numbers of a certain size."""
    found: dict[str, Scalar] = {}
    for name, hint in get_type_hints(kind, include_extras=True).items():
        said = getattr(hint, "__metadata__", ())
        if hint == Wide or UNSIGNED in said:
            found[name] = LONG if hint == Wide else COUNT
    return found


@cache
def wide_fields(kind: type) -> frozenset[str]:
    """Fields of a NamedTuple that are declared as `Wide`."""
    return frozenset(name for name, size in declared_wholes(kind).items() if size == LONG)


def kind_of(value: Any, hint: Any = None) -> Kind:
    """The kind of an example value, or of a class by what its fields are declared as.

    `hint` is what the value's own field is declared as: a whole number in a float's is real.
    """
    if isinstance(value, type):
        return _of_type(value)
    if isinstance(value, tuple) and hasattr(value, "_fields"):
        hints, wholes = hints_of(type(value)), declared_wholes(type(value))
        inner = tuple((name, wholes.get(name) or kind_of(getattr(value, name), hints.get(name)))
                      for name in value._fields)
        return Struct(type(value).__name__, inner, type(value))
    if isinstance(value, tuple) and value and all(isinstance(part, int | float) for part in value):
        return kind_of(row_class(len(value)))
    if isinstance(value, bool | np.bool_):
        return FLAG
    if isinstance(value, int | np.integer) and hint is not float:
        return WHOLE
    if isinstance(value, int | float | np.floating):
        return REAL
    raise Refusal(f"{type(value).__name__}: only numbers, conditions and NamedTuples of them can be emitted")


def _of_type(kind: type) -> Kind:
    if hasattr(kind, "_fields"):
        hints, wholes = hints_of(kind), declared_wholes(kind)
        return Struct(kind.__name__, tuple((name, wholes.get(name) or kind_of(hints[name])) for name in kind._fields),
                      kind)
    found = {bool: FLAG, int: WHOLE, float: REAL}.get(kind)
    if found is None:
        raise Refusal(f"{kind.__name__}: only numbers, conditions and NamedTuples of them can be emitted")
    return found


def built(source: type, given: list[Kind]) -> Struct:
    """The kind of a NamedTuple that is built from these kinds."""
    names: tuple[str, ...] = source._fields  # type: ignore[attr-defined]
    hints, wholes = hints_of(source), declared_wholes(source)

    def held(name: str, kind: Kind) -> Kind:
        return kind if kind != WHOLE else wholes.get(name) or (REAL if hints.get(name) is float else kind)

    fields = tuple((name, held(name, kind)) for name, kind in zip(names, given, strict=True))
    return Struct(source.__name__, fields, source)


def is_constant(value: Any) -> bool:
    """Whether a value found by name is a plain number."""
    return isinstance(value, bool | int | float | np.integer | np.floating) and not isinstance(value, types.ModuleType)
