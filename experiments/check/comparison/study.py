"""Checks of several rigs on one record, side by side: what each is called, and in which parameters they differ."""
from __future__ import annotations

from typing import Any, NamedTuple

from experiments.check.check import Check
from experiments.rigs.rig import Rig
from experiments.rigs.table import kind_of, rig_parts
from plant.declare import declared

KIND = "kind"


class Difference(NamedTuple):
    """One parameter in which rigs differ."""

    name: str  # dotted, as in `tube.length_m`
    unit: str
    values: tuple[Any, ...]  # one a rig; None where its variant of the part has no such parameter


class Comparison(NamedTuple):
    """Checks of two rigs or more."""

    names: tuple[str, ...]  # all different
    checks: tuple[Check, ...]
    differences: tuple[Difference, ...]

    @property
    def passed(self) -> bool:
        """Whether every rig keeps its limits."""
        return all(check.passed for check in self.checks)


def compare_checks(checks: list[Check]) -> Comparison:
    """Put checks side by side."""
    rigs = [check.rig for check in checks]
    return Comparison(tuple(names_of(rigs)), tuple(checks), tuple(differences(rigs)))


def names_of(rigs: list[Rig]) -> list[str]:
    """What to call rigs: by name; those of one name by their settings as well, and by number if that is not enough."""
    names = [rig.name for rig in rigs]
    told = [" ".join([rig.name, *rig.given[1:]]) if names.count(rig.name) > 1 else rig.name for rig in rigs]
    return [f"{name} ({told[:i].count(name) + 1})" if told.count(name) > 1 else name for i, name in enumerate(told)]


def differences(rigs: list[Rig]) -> list[Difference]:
    """Every parameter that is not the same in all rigs, in the order of the rigs' tables; kinds of parts first."""
    parts = [rig_parts(rig) for rig in rigs]
    found = []
    for table in dict.fromkeys(name for part in parts for name in part):
        here = [part.get(table) for part in parts]
        rows: dict[str, tuple[str, list[Any]]] = {}
        kinds = [kind_of(table, part) if part is not None else None for part in here]
        rows[KIND] = "", kinds
        for place, part in enumerate(here):
            for p in declared(type(part)) if part is not None else ():
                rows.setdefault(p.name, (p.unit or "1", [None] * len(rigs)))[1][place] = getattr(part, p.name)
        found += [Difference(f"{table}.{key}", unit, tuple(values)) for key, (unit, values) in rows.items()
                  if any(value != values[0] for value in values)]
    return found
