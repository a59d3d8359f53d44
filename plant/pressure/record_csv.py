"""Pressure records as CSV text: `time_s,pressure_mmHg`, and optionally a third column `usable` of 0 and 1.

Comma between cells, point in numbers, UTF-8, one header line. Nothing else is guessed at: a column that is not named
here is refused, so that a record in another unit cannot slip in; who names a file's own columns answers for their units
"""
from __future__ import annotations

import warnings
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from plant.errors import InputError
from plant.pressure.record_check import RawRecord, shown
from plant.row_fault import row_fault

HEADERS = (("time_s", "pressure_mmHg"), ("time_s", "pressure_mmHg", "usable"))
MOST_ROWS = 50_000_000  # 14 hours at 1 kHz
LONGEST_LINE = 10_000  # characters; a line beyond it is no row of numbers
LOOK_AHEAD = 1 << 24  # bytes scanned at once when counting rows


def read_csv(path: Path, columns: Sequence[str] | None = None) -> RawRecord:
    """A record as it stands in a CSV file, not yet checked for time and units. Raises InputError.

    `columns` are the file's own names of time [s], pressure [mmHg] and, if it has one, usable (0 or 1); any others are
    left alone.
    """
    name = shown(path, 200)
    header = _header(path, name) if columns is None else _named_header(path, name, columns)
    line_ends = _line_ends(path, name)
    table = _numbers(path, name, header)[:, [header.index(own) for own in columns or header]]
    if len(table) == 0:
        raise InputError(f"{name}: no rows below the header")
    good = np.ones(len(table), bool)
    rows = np.arange(2, len(table) + 2)
    if line_ends > len(table) + 1:  # empty lines somewhere: look where each row really stands
        rows = np.array([n for n, line in enumerate(_lines(path, name), start=1) if line and n > 1])
    if table.shape[1] == 3:
        flags = table[:, 2]
        wrong = (flags != 0.0) & (flags != 1.0)
        if np.any(wrong):
            first = int(np.argmax(wrong))
            raise InputError(f"{name}: line {rows[first]}: usable = {flags[first]:g} must be 0 or 1")
        good = flags == 1.0
    return RawRecord(
        np.ascontiguousarray(table[:, 0]), np.ascontiguousarray(table[:, 1]), good, rows, "line", name, f"file {name}"
    )


def _header(path: Path, name: str) -> tuple[str, ...]:
    """The column names, when they are one of `HEADERS`."""
    line = next(_lines(path, name), "")
    cells = tuple(cell.strip() for cell in line.split(","))
    if cells in HEADERS:
        return cells
    if not line:
        raise InputError(f"{name}: empty file; it must begin with the line time_s,pressure_mmHg")
    kilo = any("kpa" in cell.lower() for cell in cells)
    hint = "; multiply kPa by 7.50062 and name the column pressure_mmHg" if kilo else ""
    raise InputError(
        f"{name}: line 1: header '{shown(line, 60)}' must be time_s,pressure_mmHg (and optionally ,usable){hint}"
    )


def _named_header(path: Path, name: str, columns: Sequence[str]) -> tuple[str, ...]:
    """The column names of a file that holds those that somebody has named."""
    if len(columns) not in (2, 3) or len(set(columns)) != len(columns) or not all(columns):
        raise InputError(f"--columns {shown(','.join(columns), 60)}: give two or three names, of time in s, pressure "
                         "in mmHg and usable (0 or 1), as in t,p")
    cells = tuple(cell.strip() for cell in next(_lines(path, name), "").split(","))
    for own in columns:
        if cells.count(own) != 1:
            raise InputError(f"{name}: line 1: header '{shown(','.join(cells), 60)}' must have one column "
                             f"'{shown(own, 40)}' (--columns)")
    return cells


def _lines(path: Path, name: str) -> Iterator[str]:
    """Lines of the file without their ends. Raises InputError when it cannot be read as text."""
    try:
        with open(path, encoding="utf-8-sig", newline=None) as file:
            while line := file.readline(LONGEST_LINE + 1):
                if len(line) > LONGEST_LINE:
                    raise InputError(f"{name}: a line of over {LONGEST_LINE} characters; this is no pressure record")
                yield line.rstrip("\n")
    except UnicodeDecodeError:
        raise InputError(f"{name}: not UTF-8 text; a CSV file with the header time_s,pressure_mmHg is needed") from None
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        reason = getattr(error, "strerror", None) or "it is not a file name"
        raise InputError(f"{name}: cannot be read: {reason}") from None


def _line_ends(path: Path, name: str) -> int:
    """Count line ends without reading the whole file into memory. Raises InputError for too many."""
    rows = 0
    with open(path, "rb") as file:
        while chunk := file.read(LOOK_AHEAD):
            rows += chunk.count(b"\n")
            if rows > MOST_ROWS + 1:
                raise InputError(f"{name}: more than {MOST_ROWS} rows; cut the record into parts")
    return rows


def _numbers(path: Path, name: str, header: tuple[str, ...]) -> NDArray[np.float64]:
    """All rows as numbers, by NumPy's own reader; when that refuses, look for the row at leisure and name it."""
    columns = len(header)
    try:
        with warnings.catch_warnings(), open(path, encoding="utf-8-sig") as file:
            warnings.simplefilter("ignore")  # "input contained no data" is told by the caller
            file.readline()
            table = np.loadtxt(file, delimiter=",", comments=None, ndmin=2)
        if table.size == 0:
            return np.empty((0, columns))
        if table.shape[1] == columns:
            return table
    except (ValueError, OverflowError):
        pass
    raise InputError(row_fault(_lines(path, name), name, header))
