"""Two CSV files of measurements, paired: `subject,value` in order, or with `time_s` by which rows are matched.

Comma between cells, point in numbers, UTF-8, one header line; other columns are left alone. A file that `cuffloop
readings` wrote has a column for each reading, and `column` says which of them is compared.
"""
from __future__ import annotations

import csv
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from experiments.readings.agreement.limits import Replicates
from experiments.readings.agreement.pairs import Pairs, Samples, pairs_of
from plant.errors import InputError
from plant.messages import value_text
from plant.pressure.record_check import shown
from plant.read_number import read_number

SUBJECT, TIME, VALUE = "subject", "time_s", "value"
MOST_ROWS = 1_000_000
MATCHED_s = 0.5  # rows of the two files are the same moment when their times differ by no more


class Measured(NamedTuple):
    """One file."""

    name: str
    subject: list[str]
    time_s: Samples | None
    values: Samples


def read_measured(path: Path, column: str = VALUE) -> Measured:
    """Subjects, times if there are any, and values. Raises InputError, naming file, line and column."""
    name = shown(path, 200)
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows = csv.DictReader(file)
            header = [cell.strip() for cell in rows.fieldnames or []]
            rows.fieldnames = header
            if column not in header:
                raise InputError(f"{name}: has no column '{column}'; its columns are {', '.join(header) or 'none'}")
            return _taken(name, rows, header, column)
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        reason = getattr(error, "strerror", None) or "is no text of cells with commas"
        raise InputError(f"{name}: {reason}") from None


def _taken(name: str, rows: csv.DictReader[str], header: list[str], column: str) -> Measured:
    """The rows of an open file; those without a value are left out."""
    subjects, times, values = list[str](), list[float](), list[float]()
    for row in rows:
        if len(values) >= MOST_ROWS:
            raise InputError(f"{name}: has more than {MOST_ROWS} rows")
        text = (row.get(column) or "").strip()
        if text.lower() in ("", "nan"):
            continue
        values.append(_number(name, rows.line_num, column, text))
        subjects.append((row.get(SUBJECT) or "1").strip())
        if TIME in header:
            times.append(_number(name, rows.line_num, TIME, (row.get(TIME) or "").strip()))
    if not values:
        raise InputError(f"{name}: no values in column '{column}'")
    return Measured(name, subjects, np.array(times) if TIME in header else None, np.array(values))


def _number(name: str, line: int, column: str, text: str) -> float:
    try:
        value = read_number(text)
    except ValueError:
        raise InputError(f"{name}: line {line}: {column} = {value_text(text)} is not a number") from None
    if not np.isfinite(value):
        raise InputError(f"{name}: line {line}: {column} = {value_text(text)} is not a finite number")
    return value


def matched(tested: Measured, reference: Measured) -> Pairs:
    """Pairs by subject and time, or by subject and order where a file has no times. Raises InputError."""
    by_time = tested.time_s is not None and reference.time_s is not None
    taken: list[tuple[str, float, float]] = []
    others: dict[str, list[tuple[float, float]]] = {}
    for i, subject in enumerate(reference.subject):
        at = float(reference.time_s[i]) if by_time and reference.time_s is not None else len(others.get(subject, ()))
        others.setdefault(subject, []).append((float(at), float(reference.values[i])))
    seen: dict[str, int] = {}
    for i, subject in enumerate(tested.subject):
        at = float(tested.time_s[i]) if by_time and tested.time_s is not None else float(seen.get(subject, 0))
        seen[subject] = seen.get(subject, 0) + 1
        near = min(others.get(subject, ()), key=lambda one: abs(one[0] - at), default=None)
        if near is not None and abs(near[0] - at) <= (MATCHED_s if by_time else 0.0):
            taken.append((subject, float(tested.values[i]), near[1]))
    if not by_time and sorted(tested.subject) != sorted(reference.subject):
        raise InputError(f"{tested.name} and {reference.name}: have {len(tested.subject)} and {len(reference.subject)} "
                         "rows that do not pair off by subject; add a column time_s, or ask for constant truth")
    if not taken:
        raise InputError(f"{tested.name} and {reference.name}: have no subject and time in common")
    subjects, a, b = zip(*taken, strict=True)
    return pairs_of(list(subjects), np.array(a), np.array(b))


def replicates(tested: Measured, reference: Measured) -> tuple[Replicates, Replicates]:
    """Readings of subjects whose true value stays; subjects that only one file has are left out. Raises InputError."""
    both = [name for name in dict.fromkeys(tested.subject) if name in set(reference.subject)]
    if len(both) < 2:
        raise InputError(f"{tested.name} and {reference.name}: have {len(both)} subjects in common; two are needed")
    number = {name: i for i, name in enumerate(both)}
    return _numbered(tested, number), _numbered(reference, number)


def _numbered(measured: Measured, number: dict[str, int]) -> Replicates:
    kept = np.array([name in number for name in measured.subject])
    subject: NDArray[np.int64] = np.array([number[s] for s in measured.subject if s in number], np.int64)
    return Replicates(subject, measured.values[kept])
