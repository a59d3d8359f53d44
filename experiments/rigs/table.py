"""Rigs as text: the list, and every parameter of one with unit, bounds, meaning and source."""
from __future__ import annotations

import json
import sys
import textwrap
from typing import Any, get_args

from controller.protection.guards import guard_parts
from experiments.rigs.rig import KINDS, Rig, left_to_tool, load_rig
from plant.declare import Declared, declared


def list_lines(rigs: list[Rig]) -> list[str]:
    """One line a rig."""
    return [f"{rig.name:<10} {rig.about}" for rig in rigs]


def rig_lines(rig: Rig, width: int) -> list[str]:
    """A rig as TOML that can be saved and loaded again, each key followed by unit, bounds, meaning and source."""
    lines = [f"base = {toml_value(rig.base)}", f"name = {toml_value(rig.name)}", f"about = {toml_value(rig.about)}"]
    for table, part in rig_parts(rig).items():
        lines += ["", f"[{table}]"]
        kind = kind_of(table, part)
        if kind:
            lines.append(f"kind = {toml_value(kind)}")
        for parameter in _printed(part):
            value, start, note = getattr(part, parameter.name), "", ""
            if left_to_tool(rig, table, parameter.name):  # and so it stays, when this is saved and changed elsewhere
                if table == "tube":
                    value, note = 0 * value, f"0 leaves it to the tool, here {value:.6g}; "
                else:
                    start, note = "# ", "follows the plant; "
            lines += _entry(parameter, f"{start}{parameter.name} = {toml_value(value)}  # ", note, width)
    return lines


def difference_lines(rig: Rig) -> list[str]:
    """A rig as TOML with only what differs from the built-in rig beneath it, each key followed by its unit.

    A part of another kind stands whole, less what is left to the tool.
    """
    beneath = load_rig(rig.base)
    before = rig_parts(beneath)
    lines = [f"base = {toml_value(rig.base)}", f"name = {toml_value(rig.name)}", f"about = {toml_value(rig.about)}"]
    for table, part in rig_parts(rig).items():
        other = type(part) is not type(before[table])
        kind = kind_of(table, part)
        changed = [
            f"{p.name} = {toml_value(getattr(part, p.name))}" + (f"  # {p.unit}" if p.unit not in ("", "1") else "")
            for p in _printed(part) if (other or getattr(part, p.name) != getattr(before[table], p.name))
            and not left_to_tool(rig, table, p.name)
        ]
        if other or changed:
            lines += ["", f"[{table}]", *([f"kind = {toml_value(kind)}"] if kind and other else []), *changed]
    return lines


def _entry(parameter: Declared, start: str, note: str, width: int) -> list[str]:
    """One key with its note, wrapped as comments."""
    note += f"{_unit(parameter)}{_span(parameter)}; {parameter.meaning}; {parameter.source}".lstrip("; ")
    first, *rest = textwrap.wrap(note, max(width, 60) - 6, initial_indent=" " * (len(start) - 6)) or [""]
    return [start + first.lstrip(), *(f"    # {line}" for line in rest)]


def rig_json(rig: Rig) -> dict[str, Any]:
    """A rig as plain data: its tables, complete, and what each parameter is."""
    tables: dict[str, Any] = {}
    parameters: dict[str, Any] = {}
    for table, part in rig_parts(rig).items():
        kind = kind_of(table, part)
        tables[table] = ({"kind": kind} if kind else {}) | {p.name: getattr(part, p.name) for p in _printed(part)}
        parameters[table] = {
            p.name: {"unit": p.unit, "low": p.low, "high": p.high, "meaning": p.meaning, "source": p.source}
            for p in _printed(part)
        }
    return {"name": rig.name, "about": rig.about, "base": rig.base, "tables": tables, "parameters": parameters}


def kind_of(table: str, part: Any) -> str | None:
    """What a rig file calls this variant of a part; None where there are no variants."""
    if table not in KINDS:
        return None
    for kind, part_class in KINDS[table].items():
        if type(part) is part_class:
            return kind
    return f"{sys.modules[type(part).__module__].__file__}:{type(part).__name__}"  # from a file of the user's


def rig_parts(rig: Rig) -> dict[str, Any]:
    """Every table of a rig with the part it became."""
    parts: dict[str, Any] = dict(rig.plant._asdict())
    return parts | {
        "tone": rig.tone, "timing": rig.timing, "controller": rig.controller, "actuator": rig.stage,
        "filling": rig.filling,
    } | guard_parts(rig.guards)


def _printed(part: Any) -> list[Declared]:
    """The parameters that can be set: all but those with a single allowed value."""
    return [p for p in declared(type(part)) if p.low is None or p.low != p.high]


def _unit(parameter: Declared) -> str:
    return "" if parameter.unit in ("", "1") else f"{parameter.unit}, "


def _span(parameter: Declared) -> str:
    if parameter.low is not None:
        return f"{parameter.low:g} … {parameter.high:g}"
    return " or ".join(str(word) for word in get_args(parameter.kind))


def toml_value(value: Any) -> str:
    """A value as TOML writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")  # TOML's own escapes, but for that one
    return repr(value)
