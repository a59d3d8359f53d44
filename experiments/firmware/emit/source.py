"""The Python source behind a function that is compiled, and what the names in it stand for."""
from __future__ import annotations

import ast
import inspect
import math
import textwrap
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from experiments.firmware.emit.kinds import Kind, Refusal, Struct, row_class
from plant.numerics import integrate, vector
from plant.pneumatics import tube

TOP = Path(__file__).resolve().parents[3]
ELEMENTWISE: dict[Any, tuple[tuple[str, ...], str]] = {  # unrolled over a tuple's fields, as in the kernel
    integrate.advance: (("state", "step", "rate"), "multiply_add(step, rate{0}, state{0})"),
    integrate.weigh: (
        ("first", "second", "third", "fourth"),
        "multiply_add(2.0, second{0} + third{0}, first{0} + fourth{0}) * (1.0 / 6.0)"),
    integrate.without_denormals: (("state",), "choose(abs(state{0}) < NOTHING, 0.0, state{0})"),
}
SECTIONS = (tube.node_rates, tube.flow_rates)  # written out over a line's sections, as in the kernel


@dataclass(frozen=True)
class Source:
    """A function as it is written: its tree, its names, and where it stands."""

    name: str
    tree: ast.FunctionDef
    names: dict[str, Any]
    file: str
    line: int
    doc: str
    remarks: dict[int, str] = field(default_factory=dict)  # comments that have a line of their own, by its number

    def place(self, node: ast.AST | None = None) -> str:
        """file:line of a node, for whoever has to look."""
        return f"{self.file}:{getattr(node, 'lineno', self.line)}"

    def refuse(self, node: ast.AST, why: str) -> Refusal:
        """The complaint about a piece of source that cannot be emitted."""
        return Refusal(f"{self.place(node)}: {why}: `{ast.unparse(node).splitlines()[0][:80]}`")


def shown(path: Path) -> str:
    """A file as a reader may look it up: inside the project, or by its name."""
    return path.relative_to(TOP).as_posix() if path.is_relative_to(TOP) else path.name


@cache
def source_of(function: Callable[..., Any]) -> Source:
    """The source of a plain function. Raises Refusal without one."""
    try:
        lines, first = inspect.getsourcelines(function)
    except (OSError, TypeError):
        raise Refusal(f"{getattr(function, '__name__', function)}: its source cannot be read") from None
    tree = ast.parse(textwrap.dedent("".join(lines))).body[0]
    file = shown(Path(function.__code__.co_filename))
    if not isinstance(tree, ast.FunctionDef):
        raise Refusal(f"{file}:{first}: only functions can be emitted")
    ast.increment_lineno(tree, first - 1)
    free = inspect.getclosurevars(function).nonlocals
    remarks = {first + k: line.strip()[1:].strip() for k, line in enumerate(lines) if line.strip().startswith("#")}
    return Source(function.__name__, tree, {**function.__globals__, **free}, file, tree.lineno,
                  ast.get_docstring(tree) or "", remarks)


def unrolled(function: Callable[..., Any], kinds: list[Kind]) -> Source:
    """The source of an element-wise function, written out for a tuple's kind as the kernel writes it out."""
    if function in SECTIONS:
        return _line(function, kinds)
    names, leaf = ELEMENTWISE[function]
    struct = next(kind for kind in kinds if isinstance(kind, Struct))
    scope: dict[str, Any] = {
        "choose": vector.choose, "multiply_add": vector.multiply_add, "NOTHING": integrate.NOTHING, "abs": abs}

    def expression(kind: Kind, path: str) -> str:
        if not isinstance(kind, Struct):
            return leaf.format(path)
        scope[kind.name] = kind.source
        return f"{kind.name}({', '.join(expression(inner, f'{path}.{name}') for name, inner in kind.fields)})"

    text = f"def {function.__name__}({', '.join(names)}):\n    return {expression(struct, '')}\n"
    tree = ast.parse(text).body[0]
    assert isinstance(tree, ast.FunctionDef)
    origin = source_of(function)
    ast.increment_lineno(tree, origin.line - 1)
    label = f"{function.__name__}_{struct.name}"
    return Source(label, tree, scope, origin.file, origin.line, origin.doc)


def is_unrolled(function: Any) -> bool:
    """Whether a function is written out for the kinds it is given."""
    return callable(function) and (function in SECTIONS or function in ELEMENTWISE)


def _line(function: Callable[..., Any], kinds: list[Kind]) -> Source:
    """Rates of all nodes, or of all flows, of a line with as many sections as its rows have numbers."""
    row = kinds[-1]
    assert isinstance(row, Struct)
    count = len(row.fields)
    if function is tube.node_rates:
        names = "tube, air, volume_mL, inflow_mL_s, pressures, flows"
        head = "part_mL = tube_volume(tube) / tube.sections"
        parts = ["rigid_rate(air, volume_mL, inflow_mL_s - flows[0])"]
        parts += [f"rigid_rate(air, part_mL, flows[{i - 1}] - flows[{i}])" for i in range(1, count)]
    else:
        names, head = "tube, air, cuff_mmHg, pressures, flows", f"end_mmHg = pressures[{count - 1}]"
        parts = [f"section_rate(tube, air, pressures[{i}], pressures[{i + 1}], flows[{i}])" for i in range(count - 1)]
        parts.append(f"section_rate(tube, air, end_mmHg, cuff_mmHg, flows[{count - 1}])")
    text = f"def {function.__name__}({names}):\n    {head}\n    return {row.name}({', '.join(parts)})\n"
    tree = ast.parse(text).body[0]
    assert isinstance(tree, ast.FunctionDef)
    origin = source_of(function)
    ast.increment_lineno(tree, origin.line - 1)
    scope = {**function.__globals__, row.name: row_class(count)}
    return Source(f"{function.__name__}_{count}", tree, scope, origin.file, origin.line, origin.doc)


def plain_function(found: Any, kinds: list[Kind]) -> Callable[..., Any] | None:
    """The Python function behind a compiled one, or behind a verb for the class of its first argument; else None."""
    if hasattr(found, "implementations"):
        part = kinds[0] if kinds else None
        chosen = found.implementations.get(part.source, found.otherwise) if isinstance(part, Struct) else None
        return chosen.py_func if chosen is not None else None
    return getattr(found, "py_func", None)


@cache
def _imports(file: str) -> dict[str, tuple[str, str]]:
    found = {}
    for node in ast.walk(ast.parse(Path(file).read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            for alias in node.names:
                found[alias.asname or alias.name] = (node.module, alias.name)
    return found


def defining_module(names: dict[str, Any], name: str) -> str:
    """The module in which a constant found by name is defined, followed through imports."""
    import sys

    module = str(names.get("__name__", ""))
    for _ in range(9):
        file = getattr(sys.modules.get(module), "__file__", None)
        origin = _imports(file).get(name) if file else None
        if origin is None:
            return module
        module, name = origin
    return module


@cache
def said_of(module: str, name: str) -> str:
    """What stands behind the definition of a module's constant, in its source."""
    import sys

    file = getattr(sys.modules.get(module), "__file__", None)
    text = Path(file).read_text(encoding="utf-8") if file else ""
    for line in text.splitlines():
        names, equals, rest = line.partition(" = ")
        if equals and not line.startswith((" ", "#")) and name in [part.strip() for part in names.split(",")]:
            return rest.partition("  # ")[2].strip()
    return ""


MATH = {"pi": math.pi, "nan": math.nan, "inf": math.inf}
