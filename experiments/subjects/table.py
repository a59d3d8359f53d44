"""Virtual fingers as a table: CSV, one finger a row, units in the header, read back to the very same bits.

Columns are `name`, `group`, `seed`, then `part.parameter [unit]` for every parameter of a finger, then `defect`; their
order is free.
"""
from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from experiments.subjects.finger import DEFECTS, PARTS, Finger, check_finger
from experiments.subjects.population import sample_fingers
from experiments.work.output import whole_file
from plant.declare import declared
from plant.errors import InputError
from plant.messages import one_line, value_text
from plant.read_number import read_number
from plant.validate import validated

TEXTS = ("name", "group", "seed", "defect")
LONGEST_TEXT = 100  # characters of a name
LARGEST_SEED = 2**63 - 1
MOST_BYTES = 1_000_000_000
KNOWN = f"name, group, seed, defect or PART.PARAMETER [UNIT] with a part out of {', '.join(PARTS)}"


def headings() -> dict[str, str]:
    """Heading of each column by dotted name, as in `artery.creep_time_s`: `artery.creep_time_s [s]`."""
    numbers = {f"{t}.{p.name}": f"{t}.{p.name} [{p.unit}]" for t, part in PARTS.items() for p in declared(part)}
    return {"name": "name", "group": "group", "seed": "seed", **numbers, "defect": "defect"}


def finger_row(finger: Finger) -> dict[str, Any]:
    """A finger as one flat row, by dotted name."""
    numbers = {f"{t}.{key}": value for t in PARTS for key, value in getattr(finger, t)._asdict().items()}
    return {"name": finger.name, "group": finger.group, "seed": finger.seed, **numbers, "defect": finger.defect}


def save_fingers(path: Path | str, fingers: Iterable[Finger]) -> None:
    """Write fingers as CSV, whole or not at all.

    Raises InputError for a finger out of bounds, an unusable or repeated name, or a place that cannot be written.
    """
    place, names = Path(path), headings()
    with whole_file(place) as temporary, temporary.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(names.values())
        seen: set[str] = set()
        for finger in fingers:
            check_finger(finger)
            _check_texts(finger.name, finger.group, seen, f"{place}")
            row = finger_row(finger)
            writer.writerow(v if k in TEXTS else repr(float(v)) for k, v in row.items())


def load_fingers(path: Path | str) -> list[Finger]:
    """Fingers from a CSV file that `save_fingers` or a person wrote.

    Raises InputError naming file, line, column, value and what is allowed.
    """
    place = one_line(path, 200)
    rows = _rows(Path(path), place)
    _, heading = next(rows, (1, []))
    columns = _columns(heading, place)
    seen: set[str] = set()
    return [_finger(dict(zip(columns, cells, strict=True)), seen, f"{place}: line {line}")
            for line, cells in _whole(rows, len(columns), place)]


def _rows(path: Path, place: str) -> Iterator[tuple[int, list[str]]]:
    """Rows with their line numbers, empty lines left out. Raises InputError when the file is no CSV text."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise InputError(f"{place}: more than {MOST_BYTES} bytes; cut the table into parts")
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.reader(file, strict=True)
            for row in reader:
                if row:
                    yield reader.line_num, row
    except UnicodeDecodeError as error:
        raise InputError(f"{place}: not UTF-8 text: a byte {error.object[error.start]:#04x} is none of its") from None
    except csv.Error as error:
        raise InputError(f"{place}: not a CSV table: {one_line(error, 200)}") from None
    except FileNotFoundError:
        raise InputError(f"{place}: no such file") from None
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        reason = getattr(error, "strerror", None) or one_line(error, 200)
        raise InputError(f"{place}: cannot be read: {reason}") from None


def _whole(rows: Iterator[tuple[int, list[str]]], width: int, place: str) -> Iterator[tuple[int, list[str]]]:
    for line, cells in rows:
        if len(cells) != width:
            hint = " (decimal comma, or another separator?)" if len(cells) > width or ";" in cells[0] else ""
            raise InputError(f"{place}: line {line}: {len(cells)} cells, the header has {width}{hint}")
        yield line, cells


def _columns(heading: list[str], place: str) -> list[str]:
    """Dotted name of each column in the order of the file."""
    known = headings()
    names = {text: name for name, text in known.items()}
    found: list[str] = []
    for cell in (c.strip() for c in heading):
        bare = cell.partition(" [")[0]
        if cell not in names and bare in known:
            raise InputError(f"{place}: line 1: column {value_text(cell)} must be headed {value_text(known[bare])}")
        if cell not in names:
            raise InputError(f"{place}: line 1: column {value_text(cell)} is not one of a finger's; use {KNOWN}")
        if names[cell] in found:
            raise InputError(f"{place}: line 1: column '{cell}' stands there twice")
        found.append(names[cell])
    missing = [text for name, text in known.items() if name not in found]
    if missing:
        more = f" and {len(missing) - 1} more" if len(missing) > 1 else ""
        raise InputError(f"{place}: line 1: column '{missing[0]}'{more} is missing; a finger needs all its parameters")
    return found


def _finger(cells: dict[str, str], seen: set[str], where: str) -> Finger:
    name, group, defect = (cells[key].strip() for key in ("name", "group", "defect"))
    _check_texts(name, group, seen, where)
    seed = cells["seed"].strip()
    if not (seed.isascii() and seed.isdigit() and len(seed) < 20 and int(seed) <= LARGEST_SEED):
        raise InputError(f"{where}: seed = {value_text(cells['seed'])} must be a whole number from 0 to {LARGEST_SEED}")
    if defect and defect not in DEFECTS:
        raise InputError(f"{where}: defect = {value_text(defect)} must be empty or one of {', '.join(DEFECTS)}")
    parts = {
        table: validated(
            part, {p.name: _cell(cells[f"{table}.{p.name}"], p.kind) for p in declared(part)}, where, table)
        for table, part in PARTS.items()
    }
    finger = Finger(name, group, int(seed), **parts, defect=defect)
    try:
        check_finger(finger)
    except InputError as error:
        raise InputError(f"{where}: {error}") from None
    return finger


def _check_texts(name: str, group: str, seen: set[str], where: str) -> None:
    for key, text in (("name", name), ("group", group)):
        if not text or text != text.strip() or not text.isprintable() or len(text) > LONGEST_TEXT:
            raise InputError(
                f"{where}: {key} = {value_text(text)} must be text of one line, of 1 to {LONGEST_TEXT} characters, "
                "without blanks at its ends"
            )
    if name in seen:
        raise InputError(f"{where}: name = {value_text(name)} stands there twice; names must differ")
    seen.add(name)


def _number(cell: str) -> float | str:
    """A cell as a number, or as the text that the check of its part will refuse."""
    try:
        return read_number(cell)
    except ValueError:
        return cell


def _cell(cell: str, kind: type) -> float | bool | str:
    """A cell as its parameter takes it; switches are written as 0 and 1."""
    value = _number(cell)
    return bool(value) if kind is bool and value in (0.0, 1.0) else value


def is_table(group: str | None) -> bool:
    """Whether a group is a table of fingers."""
    return group is not None and group.endswith(".csv")


def finger_of_table(name: str, table: str) -> Finger:
    """A finger of a table by its name. Raises InputError."""
    for finger in load_fingers(table):
        if finger.name == name:
            return finger
    raise InputError(f"--finger {value_text(name)}: not in {table}")


def chosen_fingers(count: int, group: str, seed: int) -> list[Finger]:
    """So many fingers of a group, or of a table (a file that ends in .csv), from its top.

    Raises InputError for an unknown group, a table that cannot be read, or one that is too short.
    """
    if not is_table(group):
        return sample_fingers(count, group, seed)
    found = load_fingers(group)
    if len(found) < count:
        raise InputError(f"--fingers {count}: {group} has only {len(found)}")
    return found[:count]
