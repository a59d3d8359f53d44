"""Reference pages of every declared parameter, made from the declarations themselves."""
from __future__ import annotations

import inspect
import sys
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from typing import Any, get_args

from controller.protection.guards import TABLES
from experiments.rigs.rig import KINDS, PLAIN, Rig, built_in_rigs, load_rig
from experiments.rigs.table import kind_of, rig_parts
from plant.declare import ROOMS, Declared, declared

TOP = Path(__file__).resolve().parents[2]
OWN = "experiments/guide"
HEADINGS = {  # page: its title, what it says first
    "plant": ("Plant", "What the firmware cannot change: tables of a rig file."),
    "controller": ("Controller", "What runs on the tick: tables of a rig file."),
    "protection": ("Protection", "Detectors in the firmware, and what protects without it: tables of a rig file. "
                   "A threshold that follows the rig is 0 in the file and filled in when it is used."),
    "others": ("Other declared parts", "Searches, schedules, scenarios, pressures, virtual fingers: declared in the "
               "same way, and set where each is made, not in a rig file."),
}
Part = tuple[str, str, type]  # table, kind ("" where there is but one), class


def declared_parts() -> list[type]:
    """Every class of the four rooms whose fields are all declared parameters, by module and name."""
    found = []
    for module in _modules():
        for _, part in inspect.getmembers(import_module(module), inspect.isclass):
            if part.__module__ == module and _is_declared(part):
                found.append(part)
    return found


def _modules() -> Iterator[str]:
    for room in ROOMS:
        for path in sorted((TOP / room).rglob("*.py")):
            inside = path.relative_to(TOP)
            package = (path.parent / "__init__.py").is_file()
            if package and not path.name.startswith("__") and not inside.as_posix().startswith(OWN):
                yield ".".join(inside.with_suffix("").parts)


def _is_declared(part: type) -> bool:
    if not issubclass(part, tuple) or not hasattr(part, "_fields"):
        return False
    try:
        return bool(declared(part))
    except (ValueError, NameError, TypeError):
        return False


def rig_tables() -> list[Part]:
    """Every table of a rig file, with each class that it can become."""
    plain = [(table, "", part) for table, part in PLAIN.items()]
    return plain + [(table, kind, part) for table, kinds in KINDS.items() for kind, part in kinds.items()]


def parameter_pages() -> dict[str, str]:
    """Markdown of each page by its name."""
    rigs = {name: load_rig(name) for name in built_in_rigs()}
    sections: dict[str, list[str]] = {page: [] for page in HEADINGS}
    tables = rig_tables()
    for table, kind, part in tables:
        page = "protection" if table in TABLES else part.__module__.split(".")[0]
        title = f"`[{table}]`" + (f" with `kind = \"{kind}\"`" if kind else "")
        values = {name: found for name, rig in rigs.items() if (found := _values(rig, table, part)) is not None}
        sections[page].append(section(title, part, values))
    inside = {part for *_, part in tables}
    for part in declared_parts():
        if part not in inside:
            sections["others"].append(section(f"`{part.__name__}`", part, {}))
    return {page: f"# {title}\n\n{about}\n\n" + "\n".join(sections[page])
            for page, (title, about) in HEADINGS.items()}


def _values(rig: Rig, table: str, part: type) -> Any | None:
    """A part of a rig, if its table became this class there."""
    found = rig_parts(rig).get(table)
    return found if type(found) is part and (table not in KINDS or kind_of(table, found)) else None


def section(title: str, part: type, values: dict[str, Any]) -> str:
    """One part: what it is, its equation as its file gives it, and a row for each parameter.

    `values` holds the part as built-in rigs have it, by their names.
    """
    about = inspect.getdoc(sys.modules[part.__module__]) or ""
    first, _, rest = about.partition("\n")
    lines = [f"## {title}", "", f"{part.__module__.replace('.', '/')}.py: {inspect.getdoc(part) or part.__name__}", ""]
    if not rest.strip():
        lines += [first, ""]
    else:
        lines += ["```text", about, "```", ""]
    columns = ["parameter", "range", "default", *values, "meaning", "source"]
    lines += [_row(columns), _row(["---"] * len(columns))]
    for parameter in declared(part):
        if parameter.low is None or parameter.low != parameter.high:
            lines.append(_row([f"`{parameter.name}`", span(parameter), shown(parameter.default),
                               *(shown(getattr(made, parameter.name)) for made in values.values()),
                               parameter.meaning, parameter.source]))
    return "\n".join([*lines, ""])


def span(parameter: Declared) -> str:
    """Allowed values of a parameter with their unit."""
    unit = "" if parameter.unit in ("", "1") else f" {parameter.unit}"
    if parameter.low is not None and parameter.high is not None:
        return f"{parameter.low:g} … {parameter.high:g}{unit}"
    words = get_args(parameter.kind)
    return ", ".join(f"`{word}`" for word in words) if words else "true, false"


def shown(value: Any) -> str:
    """A value in a table."""
    if value is None:
        return "none: must be given"
    if isinstance(value, bool):
        return str(value).lower()
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def _row(cells: list[str]) -> str:
    safe = (cell.replace("|", "\\|").replace("*", "\\*").replace("<", "&lt;") for cell in cells)
    return f"| {' | '.join(safe)} |"
