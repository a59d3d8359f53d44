"""The text of a unit: header with structs and what can be called, source with constants, helpers and functions."""
from __future__ import annotations

import inspect
import re
import textwrap
from contextlib import suppress
from functools import cache
from pathlib import Path

from experiments.firmware.emit import terms
from experiments.firmware.emit.kinds import REAL, WHOLE, Struct, safe
from experiments.firmware.emit.source import said_of, shown
from experiments.firmware.emit.terms import plain
from experiments.firmware.emit.unit import Emitted, Unit
from plant.declare import declared

WIDTH = 110
FULL = 90  # characters of a docstring's line that goes on in the next
PART_TOLD = ("One tick;", "One tick.")  # beginnings of the docstring of a function that is told by its part's
CAUTION = "A design and teaching model. Not a medical device, and not for use on people."


def comment(text: str, indent: str = "") -> list[str]:
    """A block comment."""
    lines = [line for part in joined(plain(text).strip().splitlines()) or [""]
             for line in (textwrap.wrap(part.strip(), WIDTH - 4 - len(indent)) or [""])]
    if not any(lines):
        return []
    if len(lines) == 1:
        return [f"{indent}/* {lines[0]} */"]
    return [f"{indent}/* {lines[0]}", *(f"{indent} * {line}".rstrip() for line in lines[1:]), f"{indent} */"]


def joined(lines: list[str]) -> list[str]:
    """Lines of which one that fills its width goes on in the next: a docstring's paragraphs."""
    out: list[str] = []
    full = False
    for line in lines:
        if full and line.strip():
            out[-1] = f"{out[-1]} {line.strip()}"
        else:
            out.append(line)
        full = len(line) >= FULL
    return out


def folded(line: str) -> list[str]:
    """A long line of C in several, broken after a comma or before an operator, never inside a word."""
    if len(line) <= WIDTH:
        return [line]
    indent = re.match(r" *", line).group()  # type: ignore[union-attr]
    out, rest, deeper = [], line.strip(), indent
    while len(deeper) + len(rest) > WIDTH:
        room = WIDTH - len(deeper)
        cut = max((m.start() + 1 for m in re.finditer(r"[,{] |\{(?=\.)", rest[:room])), default=0)
        cut = cut or max((m.start() for m in re.finditer(r" (?:[-+*/?:]|&&|\|\|) ", rest[:room])), default=0)
        if not cut:
            break
        out.append(deeper + rest[:cut].rstrip())
        rest, deeper = rest[cut:].strip(), indent + "    "
    return [*out, deeper + rest]


@cache
def remarks(source: type) -> dict[str, str]:
    """What is said about each field of a NamedTuple: its declaration, or the comment behind it."""
    try:
        text = inspect.getsource(source)
    except (OSError, TypeError):
        return {}
    behind = re.finditer(r"^    (\w+): [\w.| \[\]]+?(?: = \S+)?  # (.+)$", text, re.M)
    found = {m.group(1): m.group(2).strip() for m in behind}
    with suppress(ValueError, AttributeError):  # a state or a record: nothing is declared
        found |= {p.name: f"[{p.unit}] {p.meaning}" if p.unit else p.meaning for p in declared(source)}
    return found


def place_of(source: type) -> str:
    """file:line of a class."""
    try:
        file = inspect.getsourcefile(source)
        return f"{shown(Path(file or ''))}:{inspect.getsourcelines(source)[1]}"
    except (OSError, TypeError):
        return source.__module__


def struct_text(kind: Struct, unit: Unit) -> list[str]:
    """A struct with what its source says about it."""
    if kind.source is None:
        head, said = [f"/* What {kind.name.removesuffix('_answer')} returns. */"], {}
    else:
        doc = inspect.getdoc(kind.source) or kind.name
        head, said = comment(f"{doc}\n{place_of(kind.source)}"), remarks(kind.source)
    fields = []
    for name, inner in kind.fields:
        behind = f" /* {plain(said[name])} */" if name in said else ""
        fields.append(f"    {terms.c_type(inner, unit.numbers)} {safe(name)};{behind}")
    return [*head, "typedef struct {", *fields, f"}} {kind.name};", ""]


def constant_text(unit: Unit) -> list[str]:
    """Named constants with the module that defines them."""
    lines = []
    for label, (value, module) in unit.constants.items():
        kind = REAL if isinstance(value, float) else WHOLE
        said = plain(said_of(module, unit.origin.get(label, label)))
        lines.append(f"#define {label} {terms.constant(value, unit.numbers).text}"
                     f" /* {said + '; ' if said else ''}{'whole number, ' if kind == WHOLE else ''}{module} */")
    return [*lines, ""] if lines else []


def part_of(emitted: Emitted) -> str:
    """What the part is whose tick a function runs, where its own words leave that to the part's."""
    part = emitted.kinds[0] if emitted.kinds else None
    if not emitted.source.doc.startswith(PART_TOLD) or not isinstance(part, Struct) or part.source is None:
        return ""
    return f"{part.name}: {inspect.getdoc(part.source)}\n\n"


def function_text(emitted: Emitted, is_root: bool) -> list[str]:
    """A function under its docstring and the place of its source."""
    said = comment(f"{part_of(emitted)}{emitted.source.doc}\n{emitted.source.place()}")
    head = emitted.prototype if is_root else f"static {emitted.prototype}"
    body = [part for line in emitted.lines for part in folded(line)]
    return [*said, *folded(head), "{", *body, "}", ""]


def header(unit: Unit, roots: list[Emitted], name: str, title: str) -> str:
    """The header: structs and the functions that can be called."""
    guard = f"{name.upper()}_H"
    lines = [*comment(f"{title}\n{CAUTION}"), f"#ifndef {guard}", f"#define {guard}", "", "#include <stdbool.h>",
             "#include <stdint.h>", ""]
    for kind in unit.structs.values():
        lines += struct_text(kind, unit)
    for root in roots:
        lines += [*comment(root.source.doc), *folded(f"{root.prototype};"), ""]
    return "\n".join([*lines, "#endif", ""])


def source(unit: Unit, roots: list[Emitted], name: str, title: str) -> str:
    """The C source: constants, small functions that C does not have, and the functions, callees first."""
    strings = ["#include <string.h>"] if {"word_of_real", "real_of_word", "held_word"} & set(unit.helpers) else []
    lines = [*comment(f"{title}\n{CAUTION}"), f'#include "{name}.h"', "", "#include <math.h>", *strings, "",
             "#ifdef __FAST_MATH__", '#error "this arithmetic must keep IEEE 754: build without fast math"',
             "#endif", ""]
    lines += constant_text(unit)
    for helper, text in terms.HELPERS.items():
        if helper in unit.helpers:
            lines += [text.format(r=unit.numbers.c_type, w=f"uint{unit.numbers.bits}_t"), ""]
    for emitted in unit.order:
        lines += function_text(emitted, emitted in roots)
    return "\n".join(lines)
