"""Rigs as text: the list, and every parameter of one with unit, bounds, meaning and source."""
from __future__ import annotations

import textwrap
from typing import Any

from experiments.rig import KINDS, Rig
from plant.declare import declared


def list_lines(rigs: list[Rig]) -> list[str]:
    """One line a rig."""
    return [f"{rig.name:<10} {rig.about}" for rig in rigs]


def rig_lines(rig: Rig, width: int) -> list[str]:
    """A rig's tables as TOML that could be saved, each key followed by unit, bounds, meaning and source."""
    lines = [f"# {rig.name}: {rig.about}"]
    for table, part in rig_parts(rig).items():
        lines += ["", f"[{table}]"]
        kinds = KINDS.get(table, {})
        for kind, part_class in kinds.items():
            if isinstance(part, part_class):
                lines.append(f'kind = "{kind}"')
        for parameter in declared(type(part)):
            value = getattr(part, parameter.name)
            unit = "" if parameter.unit in ("", "1") else f" {parameter.unit}"
            span = f", {parameter.low:g} … {parameter.high:g}" if parameter.low is not None else ""
            note = f"{parameter.name} = {toml_value(value)}  #{unit}{span}; {parameter.meaning}; {parameter.source}"
            lines += textwrap.wrap(note, max(width, 60), subsequent_indent="    # ")
    return lines


def rig_parts(rig: Rig) -> dict[str, Any]:
    """Every table of a rig with the part it became."""
    parts: dict[str, Any] = dict(rig.plant._asdict())
    return parts | {
        "tone": rig.tone, "timing": rig.timing, "controller": rig.controller, "actuator": rig.stage,
        "filling": rig.filling,
    }


def toml_value(value: Any) -> str:
    """A value as TOML writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"'
    return repr(value)
