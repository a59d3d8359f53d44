"""`servo_settings`: every number the firmware is built with, exact, with its unit and the rig's key."""
from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

from controller.fixed.law import FixedLaw
from controller.tick.law import Coefficients
from experiments.firmware.emit.kinds import Numbers, row_class, safe
from experiments.firmware.emit.terms import constant, plain
from experiments.firmware.emit.text import CAUTION, comment, remarks
from experiments.firmware.package.vectors_text import exact


class Setting(NamedTuple):
    """A struct of constants: its name in C, the value, and the table of the rig that each of its parts comes from."""

    name: str
    value: Any
    tables: dict[str, str]  # field at the top: table of the rig; "" for the whole
    note: str


def setting_text(setting: Setting, numbers: Numbers) -> list[str]:
    """A constant struct, a line for each number."""
    kind = type(setting.value).__name__
    lines = [*comment(setting.note), f"const {kind} {setting.name} = {{"]
    lines += list(_fields(setting.value, numbers, "    ", setting.tables.get("", ""), setting.tables))
    return [*lines, "};", ""]


def _fields(value: Any, numbers: Numbers, indent: str, table: str, tables: dict[str, str]) -> Iterator[str]:
    source: Any = type(value)
    said = remarks(source)
    for name in value._fields:
        inner = getattr(value, name)
        below = tables.get(name, f"{table}.{name}" if table else name)
        if source in (Coefficients, FixedLaw):
            below = f"from the table {table}"
        if isinstance(inner, tuple):
            inner = inner if hasattr(inner, "_fields") else row_class(len(inner))(*inner)
            yield f"{indent}.{safe(name)} = {{"
            yield from _fields(inner, numbers, indent + "    ", below, {})
            yield f"{indent}}},"
            continue
        text = exact(inner, numbers) if isinstance(inner, float) else constant(inner, numbers).text
        shown = f" {inner!r}" if isinstance(inner, float) else ""
        behind = "; ".join(part for part in (plain(said.get(name, "")), below) if part)
        yield f"{indent}.{safe(name)} = {text}, /*{shown} {behind} */".replace("/*  ", "/* ")


def settings_source(settings: list[Setting], numbers: Numbers, name: str) -> str:
    """The C source of all settings."""
    lines = [*comment(f"Settings, exact: hexadecimal value, decimal, unit and meaning, key of the rig.\n{CAUTION}"),
             f'#include "{name}_settings.h"', "", "#include <math.h>", ""]
    for setting in settings:
        lines += setting_text(setting, numbers)
    return "\n".join(lines)


def settings_header(settings: list[Setting], name: str) -> str:
    """The C header of all settings."""
    guard = f"{name.upper()}_SETTINGS_H"
    lines = [f"/* Settings of the firmware. {CAUTION} */", f"#ifndef {guard}", f"#define {guard}", "",
             f'#include "{name}.h"', ""]
    lines += [f"extern const {type(s.value).__name__} {s.name}; /* {s.note} */" for s in settings]
    return "\n".join([*lines, "", "#endif", ""])
