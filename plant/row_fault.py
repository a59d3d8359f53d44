"""What is wrong with the first row of a table of numbers that is none, in one line: for every file of columns."""
from __future__ import annotations

from collections.abc import Iterable, Sequence

from plant.messages import one_line
from plant.read_number import read_number

CELL, COLUMN = 40, 40  # characters of them that are shown


def row_fault(lines: Iterable[str], name: str, columns: Sequence[str]) -> str:
    """One line on the first row, past the header, that is not as many numbers as there are columns."""
    for number, line in enumerate(lines, start=1):
        if number == 1 or not line.strip():
            continue
        cells = line.rstrip("\n").split(",")
        if len(cells) != len(columns):
            hint = " (decimal comma, or another separator?)" if len(cells) > len(columns) or ";" in line else ""
            seen = one_line(line.rstrip("\n"), CELL)
            return f"{name}: line {number}: {len(cells)} cells in '{seen}', {len(columns)} are needed{hint}"
        for cell, column in zip(cells, columns, strict=True):
            try:
                read_number(cell)
            except ValueError:
                return f"{name}: line {number}: {one_line(column, COLUMN)} = '{one_line(cell, CELL)}' is not a number"
    return f"{name}: rows could not be read as numbers"
