"""The two tables of a rig file that say what a bench left open, checked as they are read.

`[spread]` holds standard uncertainties by dotted name, `[correlation]` what goes together; neither is of the rig
itself, both are for who judges it.
"""
from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from typing import Any

from plant.errors import InputError
from plant.messages import one_line, value_text

SPREAD, CORRELATION = "spread", "correlation"


def check_spread(value: Any, tables: Collection[str], where: str) -> None:
    """Refuse what is no table of positive numbers by dotted name. Raises InputError."""
    if not isinstance(value, dict):
        raise InputError(f"{where}: {SPREAD} = {value_text(value)} must be a table, as in [{SPREAD}]")
    for name, sd in value.items():
        table, _, field = name.partition(".")
        number = isinstance(sd, (int, float)) and not isinstance(sd, bool)
        if not field or table not in tables:
            raise InputError(f"{where}: {SPREAD}.{one_line(name, 60)}: write \"table.key\" = standard uncertainty")
        if not number or not 0.0 < sd < math.inf:
            raise InputError(f"{where}: {SPREAD}.{one_line(name, 60)} = {value_text(sd)} must be a positive number")


def check_correlation(value: Any, where: str) -> None:
    """Refuse what is no table of correlations, each pair once. Raises InputError."""
    if not isinstance(value, dict) or not all(isinstance(row, dict) for row in value.values()):
        raise InputError(f"{where}: {CORRELATION} = {value_text(value)} must hold tables, as in "
                         '"cuff.volume_mL" = { "valve.conductance" = 0.98 }')
    for name, row in value.items():
        for other, r in row.items():
            number = isinstance(r, (int, float)) and not isinstance(r, bool)
            if not number or not -1.0 <= r <= 1.0:
                raise InputError(f"{where}: {CORRELATION}.{one_line(name, 60)}: {one_line(other, 60)} = "
                                 f"{value_text(r)} must be a number from -1 to 1")
            if name == other or name in value.get(other, {}):
                raise InputError(f"{where}: {CORRELATION}.{one_line(name, 60)}: {one_line(other, 60)}: give each pair "
                                 "of two numbers once")


def check_pairs(tables: Mapping[str, Any], where: str) -> None:
    """Refuse correlations of numbers without a spread. Raises InputError."""
    named = {name for key, row in tables.get(CORRELATION, {}).items() for name in (key, *row)}
    for name in sorted(named - set(tables.get(SPREAD, {}))):
        raise InputError(f"{where}: {CORRELATION}: {one_line(name, 60)} is not in [{SPREAD}]")
