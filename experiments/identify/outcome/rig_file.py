"""The rig that was found: as a file with only what was identified, and as a rig to be judged."""
from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from experiments.identify.fit.study import Found, Identified
from experiments.rigs.rig import Rig, Source
from experiments.rigs.spread_tables import CORRELATION, SPREAD
from experiments.rigs.table import toml_value
from experiments.rigs.uncertain import spread_lines

Samples = NDArray[np.float64]
SLIGHT = 0.01  # a correlation that is not worth a word


def rounded(value: float, sd: float) -> float:
    """A value to the second digit of its uncertainty."""
    if not (math.isfinite(sd) and sd > 0.0):
        return float(f"{value:.12g}")
    return float(round(value, 1 - math.floor(math.log10(sd))))


def told(found: Identified) -> list[Found]:
    """The numbers that the recordings tell."""
    return [one for one in found.found if one.told]


def with_values(source: Source, names: Sequence[str], values: Sequence[float]) -> Source:
    """A rig's tables with some numbers changed."""
    for name, value in zip(names, values, strict=True):
        table, _, key = name.partition(".")
        source = source.changed(table, key, float(value))
    return source


def rig_found(source: Source, found: Identified) -> Rig:
    """The rig with what was told, and what was held, in place of what was believed."""
    return source_found(source, found).rig()


def source_found(source: Source, found: Identified) -> Source:
    """The same, not made yet."""
    given = [(h.free.name, h.value) for h in found.held if not h.assumed]
    own = [(one.free.name, one.value) for one in told(found)]
    names, values = zip(*(own + given), strict=True) if own + given else ((), ())
    return with_values(source, names, values)


def rig_text(found: Identified, source: Source, name: str, recordings: dict[str, str]) -> str:
    """A rig file: the base, what was identified with its uncertainty, what was held, `[spread]`, `[correlation]`.

    `recordings` are hashes by name.
    """
    tables: dict[str, list[str]] = {}
    own = {one.free.name: one for one in told(found)}
    for key, one in own.items():
        table, _, field = key.partition(".")
        own_sd = (one.interval.high - one.interval.low) / (2.0 * 1.96)  # of the recordings alone: ratios keep it
        value = rounded(one.value, min(one.sd, own_sd))
        note = f"# ± {one.sd:.2g}{'' if one.free.unit == '1' else f' {one.free.unit}'}"
        tables.setdefault(table, []).append(f"{field} = {toml_value(value)}  {note}")
    for h in found.held:
        if not h.assumed:
            table, _, field = h.free.name.partition(".")
            tables.setdefault(table, []).append(f"{field} = {toml_value(h.value)}  # measured, ± {h.sd:.2g}; held")
    lines = ["# Identified from recordings on a bench; ± is one standard uncertainty. Numbers that were not told are",
             "# the base's. Recordings:", *(f"#   {file}  sha256 {digest}" for file, digest in recordings.items()),
             f"base = {toml_value(source.base)}", f"name = {toml_value(name)}",
             f"about = {toml_value(f'identified on a bench, over {source.base}')}"]
    for table, kept in _base_tables(source).items():
        head = [line for line in kept if line.partition(" =")[0] not in
                {own_line.partition(" =")[0] for own_line in tables.get(table, [])}]
        tables[table] = head + tables.get(table, [])
    for table, rows in tables.items():
        lines += ["", f"[{table}]", *_with_kind_first(rows)]
    spread = {key: one.sd for key, one in own.items()} | {h.free.name: h.sd for h in found.held if h.sd > 0.0}
    earlier = {key: sd for key, sd in source.tables.get(SPREAD, {}).items() if key not in spread}
    before = {name: {other: r for other, r in row.items() if other in earlier}
            for name, row in source.tables.get(CORRELATION, {}).items() if name in earlier}
    return "\n".join([*lines, *spread_lines(earlier | spread, before | correlations(found, list(spread)))]) + "\n"


def correlations(found: Identified, names: Sequence[str]) -> dict[str, dict[str, float]]:
    """Correlations of some numbers, each pair once, those that are next to nothing left out."""
    places = [*(f.name for f in found.problem.free), *(h.free.name for h in found.held)]
    part = found.covariance[np.ix_([places.index(n) for n in names], [places.index(n) for n in names])]
    sizes = np.sqrt(np.diag(part))
    matrix = part / np.outer(sizes, sizes)
    return {name: {names[j]: float(matrix[i, j]) for j in range(i) if abs(matrix[i, j]) >= SLIGHT}
            for i, name in enumerate(names)}


def _base_tables(source: Source) -> dict[str, list[str]]:
    """What a base that is a file has beyond the built-in rig beneath it."""
    from experiments.rigs.rig import BUILT_IN, read_toml

    beneath = read_toml(BUILT_IN / f"{source.base}.toml")
    changed: dict[str, list[str]] = {}
    for table, values in source.tables.items():
        if not isinstance(values, dict) or table in (SPREAD, CORRELATION):
            continue
        base: dict[str, Any] = beneath.get(table, {})
        rows = [f"{key} = {toml_value(value)}" for key, value in values.items() if base.get(key) != value]
        if rows:
            if "kind" in values and not any(row.startswith("kind =") for row in rows):
                rows.insert(0, f"kind = {toml_value(values['kind'])}")
            changed[table] = rows
    return changed


def _with_kind_first(rows: list[str]) -> list[str]:
    return sorted(rows, key=lambda row: not row.startswith("kind ="))


def draws(found: Identified, count: int, seed: int) -> list[dict[str, float]]:
    """Rigs that the recordings allow: numbers drawn by their joint uncertainty, what is not told left alone."""
    free = [*found.problem.free, *(h.free for h in found.held)]
    centre = [*found.solution.x, *(h.free.inside(h.value) for h in found.held)]
    open_now = [one.told for one in found.found] + [h.sd > 0.0 for h in found.held]
    keep = [i for i, is_open in enumerate(open_now) if is_open and np.isfinite(found.covariance[i, i])]
    random = np.random.Generator(np.random.PCG64(seed))
    part = found.covariance[np.ix_(keep, keep)]
    sizes, axes = np.linalg.eigh(part)
    moves = random.standard_normal((count, len(keep))) * np.sqrt(np.maximum(sizes, 0.0)) @ axes.T
    return [{free[i].name: free[i].outside(float(centre[i] + move[j])) for j, i in enumerate(keep)}
            for move in moves]
