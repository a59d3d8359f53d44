"""What people and programs read of how far a number can go."""
from __future__ import annotations

import math
from typing import Any

from experiments.design.until.study import Edge, Until, limit_words


def until_lines(found: Until) -> list[str]:
    """The present value, and where either way ends."""
    n = found.number
    unit = "" if n.unit in ("", "1") else f" {n.unit}"
    lines = [f"{n.name} = {n.present:.4g}{unit} ({n.meaning}), allowed {n.low:g} … {n.high:g}{unit}"]
    if found.below is None or found.above is None:
        return [*lines, f"BROKEN already: {_named(found, found.present.nearest, found.present.figures)}"]
    lines.append(f"nearest limit now: {_named(found, found.present.nearest, found.present.figures)}")
    for word, edge in (("down", found.below), ("up", found.above)):
        lines.append(f"{word:<5}{_edge_words(found, edge, unit)}")
    return lines


def _named(found: Until, name: str, figures: dict[str, float]) -> str:
    figure = figures.get(name.rpartition(".")[0], math.nan)
    value = f", found {figure:.4g}" if math.isfinite(figure) else ""
    return f"{limit_words(name, found.limits)}{value}"


def _edge_words(found: Until, edge: Edge, unit: str) -> str:
    if not edge.breaks:
        return f"to {edge.value:.4g}{unit}, as far as is allowed, and no limit breaks"
    if edge.cannot:
        return f"to {edge.value:.4g}{unit}, where no rig can be had: {edge.breaks}"
    factor = f" (× {edge.value / found.number.present:.3g})" if found.number.present else ""
    return f"to {edge.value:.4g}{unit}{factor}, where {limit_words(edge.breaks, found.limits)} breaks"


def until_json(found: Until) -> dict[str, Any]:
    """The same as plain data."""
    def edge(one: Edge | None) -> dict[str, Any] | None:
        return None if one is None else one._asdict()

    return {
        "number": found.number._asdict(), "nearest": found.present.nearest, "down": edge(found.below),
        "up": edge(found.above), "limits": {name: list(limit) for name, limit in found.limits.items()},
        "tried": [{"value": r.value, "room": r.least, "nearest": r.nearest, "figures": r.figures} for r in found.tried],
    }
