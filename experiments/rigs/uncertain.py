"""What a bench left open of a rig: `[spread]`, standard uncertainties, and `[correlation]` between them.

    [spread]
    "valve.conductance" = 0.0008
    "cuff.volume_mL" = 0.05
    [correlation]
    "cuff.volume_mL" = { "valve.conductance" = 0.98 }

Rigs are drawn from both: normal, of a number above zero by its logarithm, as the identification sees it, and cut at the
number's bounds. What the firmware believes stays what it is: it was written before anyone knew.
"""
from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.rigs.rig import Rig, Source
from experiments.rigs.spread_tables import CORRELATION, SPREAD
from experiments.rigs.table import rig_parts, toml_value
from plant.declare import declared
from plant.errors import InputError
from plant.messages import one_line

Reals = NDArray[np.float64]
FIRMWARE = ("controller", "actuator", "filling")  # digital: nothing of it is left open
DIGITS = 6  # of a correlation: those of what scales together differ from 1 in the third


class Uncertain(NamedTuple):
    """Numbers of a rig, with their joint uncertainty."""

    names: tuple[str, ...]  # dotted
    values: Reals
    sds: Reals  # standard uncertainties, each in its number's unit
    correlation: Reals  # (numbers, numbers)
    low: Reals  # declared bounds
    high: Reals

    @property
    def joint(self) -> bool:
        """Whether some of them go together."""
        return bool(np.any(self.correlation != np.eye(len(self.names))))


def uncertain_of(source: Source) -> Uncertain | None:
    """What a rig's tables say is left open; None where they say nothing. Raises InputError."""
    spread: dict[str, float] = source.tables.get(SPREAD, {})
    if not spread:
        return None
    parts = rig_parts(source.rig())
    values, low, high = [], [], []
    for name in spread:
        table, _, key = name.partition(".")
        known = {p.name: p for p in declared(type(parts[table]))} if table in parts else {}
        part = known.get(key)
        if part is None or part.kind is not float or part.low is None or part.high is None or table in FIRMWARE:
            raise InputError(f"{source.where}: {SPREAD}.{one_line(name, 60)}: no number of this rig's parts "
                             "that may be off")
        values.append(float(getattr(parts[table], key)))
        low.append(part.low)
        high.append(part.high)
    names = tuple(spread)
    return Uncertain(names, np.array(values), np.array([float(sd) for sd in spread.values()]),
                     _matrix(names, source.tables.get(CORRELATION, {})), np.array(low), np.array(high))


def _matrix(names: Sequence[str], rows: Mapping[str, Mapping[str, float]]) -> Reals:
    """Correlations as a matrix; rounded ones are mended where they are no longer possible together."""
    found = np.eye(len(names))
    for name, row in rows.items():
        for other, value in row.items():
            i, j = names.index(name), names.index(other)
            found[i, j] = found[j, i] = value
    sizes, axes = np.linalg.eigh(found)
    if sizes[0] >= 0.0:
        return found
    mended = (axes * np.maximum(sizes, 0.0)) @ axes.T
    scale = np.sqrt(np.diag(mended))
    return np.asarray(mended / np.outer(scale, scale), float)


def draws(uncertain: Uncertain, count: int, seed: int) -> list[tuple[float, ...]]:
    """Values of the numbers, one tuple a rig; the first of a longer list are those of a shorter one."""
    random = np.random.Generator(np.random.PCG64([seed, len(uncertain.names)]))
    sizes, axes = np.linalg.eigh(uncertain.correlation)
    scores = random.standard_normal((count, len(uncertain.names))) * np.sqrt(np.maximum(sizes, 0.0)) @ axes.T
    values, sds = uncertain.values, uncertain.sds
    above = (values > 0.0) & (uncertain.low >= 0.0)
    share = np.where(above, sds / np.where(above, values, 1.0), 0.0)
    drawn = np.where(above, values * np.exp(scores * share), values + scores * sds)
    return [tuple(float(v) for v in row) for row in np.clip(drawn, uncertain.low, uncertain.high)]


def with_beliefs(source: Source) -> Source:
    """The same with all that its firmware believes written down, so that it stays when the plant is changed."""
    if "kind" not in source.tables.get("actuator", {}):
        return source
    for key, value in source.rig().stage._asdict().items():
        source = source.changed("actuator", key, value)
    return source


def drawn_rigs(source: Source, rig: Rig, count: int, seed: int) -> list[Rig]:
    """Rigs with the plant and dead time that the uncertainties allow, all else as `rig` has it; empty without any.

    Raises InputError.
    """
    uncertain = uncertain_of(source)
    if uncertain is None:
        return []
    found = []
    for row in draws(uncertain, count, seed):
        made = source
        for name, value in zip(uncertain.names, row, strict=True):
            table, _, key = name.partition(".")
            made = made.changed(table, key, value)
        own = made.rig()
        found.append(rig._replace(plant=own.plant, timing=own.timing))
    return found


def spread_lines(sds: Mapping[str, float], correlation: Mapping[str, Mapping[str, float]]) -> list[str]:
    """Both tables as TOML; nothing where there is no spread."""
    if not sds:
        return []
    lines = ["", f"[{SPREAD}]  # standard uncertainties", *(f"{toml_value(k)} = {sd:.3g}" for k, sd in sds.items())]
    rows = {name: row for name, row in correlation.items() if row}
    if rows:
        lines += ["", f"[{CORRELATION}]  # between them"]
    for name, row in rows.items():
        inside = ", ".join(f"{toml_value(other)} = {round(value, DIGITS)!r}" for other, value in row.items())
        lines.append(f"{toml_value(name)} = {{ {inside} }}")
    return lines


def tables_lines(tables: Mapping[str, Any]) -> list[str]:
    """The same from a rig's tables."""
    return spread_lines(tables.get(SPREAD, {}), tables.get(CORRELATION, {}))
