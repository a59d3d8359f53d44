"""Pieces of C text with their kind, and the primitives of compiled code as C."""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from experiments.firmware.emit.kinds import COUNT, FLAG, LONG, REAL, WHOLE, WORD, Kind, Numbers, Struct
from plant.numerics import vector

ATOM, UNARY, PRODUCT, SUM, COMPARED, JOINED, CHOSEN = range(7)  # how loosely a text holds together


@dataclass(frozen=True)
class Term:
    """An expression in C."""

    text: str
    kind: Kind
    loose: int = ATOM
    place: bool = False  # it names something that stays as it is: its address may be kept
    pointer: bool = False  # the text is a pointer to it
    literal: float | int | None = None
    source: str = ""  # last name in it, to call a copy after

    def tight(self, most: int = UNARY) -> str:
        """The text, in parentheses if it is looser than `most`."""
        return self.text if self.loose <= most else f"({self.text})"

    def value(self) -> str:
        """The text as a value."""
        return f"*{self.text}" if self.pointer else self.text

    def address(self) -> str:
        """The text as a pointer to something that has a place."""
        return self.text if self.pointer else f"&{self.text}"

    def field(self, name: str, kind: Kind, c_name: str) -> Term:
        """One of its fields."""
        text = f"{self.text}{'->' if self.pointer else '.'}{c_name}"
        return Term(text, kind, ATOM, self.place or self.pointer, source=name)


def plain(text: str) -> str:
    """Words of the source inside a comment of C."""
    return text.replace("*/", "* /").replace("/*", "/ *")


def constant(value: float | int, numbers: Numbers) -> Term:
    """A literal."""
    if isinstance(value, bool | np.bool_):
        return Term("true" if value else "false", FLAG, literal=int(value))
    if isinstance(value, int | np.integer):
        text = str(value) if -2**31 < value < 2**31 else f"INT64_C({value})"
        return Term(f"({text})" if value < 0 else text, WHOLE, literal=int(value))
    return Term(numbers.literal(value), REAL, literal=float(value))


def as_real(term: Term, numbers: Numbers) -> Term:
    """A whole number or word as a real one."""
    if term.kind == WHOLE and term.literal is not None and not term.source:
        return Term(numbers.literal(float(term.literal)), REAL, literal=float(term.literal))
    return Term(f"({numbers.c_type}){term.tight()}", REAL, UNARY)


def as_long(term: Term) -> Term:
    """A whole number in 64 bits."""
    if term.literal is not None and not term.source:
        text = f"INT64_C({abs(int(term.literal))})"
        return Term(f"(-{text})" if term.literal < 0 else text, LONG, literal=term.literal)
    return Term(f"(int64_t){term.tight()}", LONG, UNARY)


def as_count(term: Term) -> Term:
    """A whole number in 32 bits without a sign."""
    if term.literal is not None and not term.source and term.literal >= 0:
        return Term(f"UINT32_C({int(term.literal)})", COUNT, literal=term.literal)
    return Term(f"(uint32_t){term.tight()}", COUNT, UNARY)


def as_kind(term: Term, kind: Kind, numbers: Numbers) -> Term:
    """A whole number as what is wanted where it goes, real or of another size; anything else as it is."""
    if kind == REAL and term.kind in (WHOLE, COUNT):
        return as_real(term, numbers)
    if term.kind != WHOLE:
        return term
    return as_long(term) if kind == LONG else as_count(term) if kind == COUNT else term


Build = Callable[[Numbers, list[Term]], Term]


def _call(name: str, kind: Kind = REAL, suffixed: bool = True) -> Build:
    def build(numbers: Numbers, args: list[Term]) -> Term:
        listed = ", ".join(arg.text for arg in args)
        return Term(f"{name}{numbers.suffix if suffixed else ''}({listed})", kind)

    return build


def _unary(sign: str, kind: Kind) -> Build:
    return lambda numbers, args: Term(f"{sign}{args[0].tight(ATOM)}", kind, UNARY)


def _same(kind: Kind) -> Build:
    return lambda numbers, args: Term(args[0].text, kind, args[0].loose)


def _cast(c_type: str | None, kind: Kind) -> Build:
    return lambda numbers, args: Term(f"({c_type or numbers.c_type}){args[0].tight()}", kind, UNARY)


def _held_size(numbers: Numbers, args: list[Term]) -> Term:
    return Term(str(numbers.bits), WHOLE, literal=numbers.bits)


PRIMITIVES: dict[Any, tuple[tuple[Kind, ...], Build]] = {  # function: (kinds of its arguments, its C)
    math.sqrt: ((REAL,), _call("sqrt")),
    math.copysign: ((REAL, REAL), _call("copysign")),
    vector.rounded_down: ((REAL,), _call("floor")),
    vector.multiply_add: ((REAL, REAL, REAL), _call("fma")),
    vector.opposite: ((FLAG,), _unary("!", FLAG)),
    vector.anywhere: ((FLAG,), _same(FLAG)),
    vector.most: ((REAL,), _same(REAL)),
    vector.as_float: ((WORD,), _cast(None, REAL)),
    vector.word_of: ((WHOLE,), _cast("uint64_t", WORD)),
    vector.held_bits: ((REAL,), _call("held_word", WORD, suffixed=False)),
    vector.held_size: ((REAL,), _held_size),
    vector.bits_of: ((REAL,), _call("word_of_real", WORD, suffixed=False)),
    vector.float_of: ((WORD,), _call("real_of_word", REAL, suffixed=False)),
}
HELPERS = {  # what the C library does not have, as Numba has it for single numbers; {r} is the type of a real number
    "least": "static inline {r} least({r} first, {r} second)\n{{\n    return (second < first) ? second : first;\n}}",
    "greatest": "static inline {r} greatest({r} first, {r} second)\n{{\n"
                "    return (second > first) ? second : first;\n}}",
    "least_whole": "static inline int32_t least_whole(int32_t first, int32_t second)\n{{\n"
                   "    return (second < first) ? second : first;\n}}",
    "greatest_whole": "static inline int32_t greatest_whole(int32_t first, int32_t second)\n{{\n"
                      "    return (second > first) ? second : first;\n}}",
    "least_long": "static inline int64_t least_long(int64_t first, int64_t second)\n{{\n"
                  "    return (second < first) ? second : first;\n}}",
    "greatest_long": "static inline int64_t greatest_long(int64_t first, int64_t second)\n{{\n"
                     "    return (second > first) ? second : first;\n}}",
    "shifted_down": "/* value / 2^bits, rounded towards minus infinity: defined for negative values, too. */\n"
                    "static inline int64_t shifted_down(int64_t value, int32_t bits)\n{{\n"
                    "    const uint32_t count = (uint32_t)bits;\n"
                    "    return (value < 0) ? (-1 - (int64_t)((uint64_t)(-1 - value) >> count))\n"
                    "                       : (int64_t)((uint64_t)value >> count);\n}}",
    "held_word": "static inline uint64_t held_word({r} value)\n{{\n    {w} word;\n"
                 "    (void)memcpy(&word, &value, sizeof word);\n    return word;\n}}",
    "word_of_real": "static inline uint64_t word_of_real({r} value)\n{{\n    uint64_t word;\n"
                    "    (void)memcpy(&word, &value, sizeof word);\n    return word;\n}}",
    "real_of_word": "static inline {r} real_of_word(uint64_t word)\n{{\n    {r} value;\n"
                    "    (void)memcpy(&value, &word, sizeof value);\n    return value;\n}}",
}
DOUBLE_ONLY = (vector.bits_of, vector.float_of, vector.as_float)  # what looks into the bits of a double


def c_type(kind: Kind, numbers: Numbers) -> str:
    """The C type of a kind."""
    if isinstance(kind, Struct):
        return kind.name
    return {REAL: numbers.c_type, WHOLE: "int32_t", LONG: "int64_t", COUNT: "uint32_t", FLAG: "bool",
            WORD: "uint64_t"}[kind]
