"""What every file of the project keeps to: a mirrored test, docstrings, light imports, units in names, and sizes.

Options travel as one declared object: no function takes more than eight parameters but the commands themselves, which
hold one an option and hand over an object.
"""
import ast
import importlib
import inspect
import re
from collections.abc import Iterator
from pathlib import Path
from typing import get_type_hints

import pytest
from pydantic.fields import FieldInfo

from plant.declare import ROOMS, declared

TOP = Path(__file__).resolve().parent.parent
SOURCES = sorted(path for room in ROOMS for path in (TOP / room).rglob("*.py") if path.name != "__init__.py")
TESTS = sorted((TOP / "tests").rglob("*.py"))
SLOW_TO_IMPORT = {
    "control", "matplotlib", "rich", "typer", "xarray", "dask", "distributed", "SALib", "wfdb", "h5netcdf",
    "scipy.signal",
}
MOST_LINES = 400
KNOWN_BY_NAME = {"conductance", "bleed_conductance", "kp", "ki", "kd"}  # the field's own names, without a unit
COMMANDS = Path("experiments/commands")  # its modules are what typer is there for
PACKAGE = Path("experiments/package")  # what is in it is imported without it: `import cuffloop`
MOST_PARAMETERS, LONGEST_FUNCTION, MOST_FILES = 8, 60, 20
COMPILED = {"compiled", "fused", "inlined", "released"}  # loops that must stay in one piece


def names(paths: list[Path]) -> list[str]:
    return [str(path.relative_to(TOP)) for path in paths]


def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def module_of(path: Path) -> str:
    """The name by which a source file is imported."""
    inside = path.relative_to(TOP)
    inside = inside.relative_to(PACKAGE) if inside.is_relative_to(PACKAGE) else inside
    return ".".join(inside.with_suffix("").parts)


def functions(path: Path) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    """Every function and method of a file, inner ones too."""
    for node in ast.walk(parsed(path)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def parameters(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """How many parameters a function has, `self` aside."""
    listed = function.args
    named = [a.arg for a in (*listed.posonlyargs, *listed.args)]
    return len(named) + len(listed.kwonlyargs) - (named[:1] in (["self"], ["cls"]))


def public(body: list[ast.stmt], prefix: str = "") -> Iterator[tuple[str, ast.AST]]:
    """Public classes, functions and methods, by dotted name."""
    for node in body:
        if isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef) and not node.name.startswith("_"):
            yield f"{prefix}{node.name}", node
            if isinstance(node, ast.ClassDef):
                yield from public(node.body, f"{prefix}{node.name}.")


def test_there_is_something_to_look_at() -> None:
    """All four rooms are found."""
    assert {path.relative_to(TOP).parts[0] for path in SOURCES} >= {"plant", "controller", "experiments"}


def test_every_source_file_has_its_test_file() -> None:
    """plant/foo.py is tested by tests/plant/test_foo.py."""
    missing = []
    for path in SOURCES:
        inside = path.relative_to(TOP)
        mirror = Path("tests") / inside.parent / f"test_{inside.name}"
        if not (TOP / mirror).is_file():
            missing.append(str(mirror))
    assert not missing, f"{len(missing)} of {len(SOURCES)} mirrored tests are missing: " + ", ".join(missing)


@pytest.mark.parametrize("path", SOURCES, ids=names(SOURCES))
def test_everything_public_has_a_docstring(path: Path) -> None:
    """Module, public classes, functions and methods."""
    tree = parsed(path)
    bare = [name for name, node in public(tree.body) if not ast.get_docstring(node)]  # type: ignore[arg-type]
    assert ast.get_docstring(tree), "the file has no docstring"
    assert not bare, f"without docstring: {', '.join(bare)}"


@pytest.mark.parametrize("path", SOURCES, ids=names(SOURCES))
def test_parts_of_a_unit_are_named_after_it(path: Path) -> None:
    """A declared parameter ends in its unit: `lag_s` in s, `leak_mL_s_mmHg` in mL/s/mmHg, `slew_per_s` in 1/s."""
    module = importlib.import_module(module_of(path))
    for _, part in inspect.getmembers(module, inspect.isclass):
        if part.__module__ != module.__name__ or not hasattr(part, "_fields"):
            continue
        hints = get_type_hints(part, include_extras=True)
        if not any(isinstance(m, FieldInfo) for hint in hints.values() for m in getattr(hint, "__metadata__", ())):
            continue
        for parameter in declared(part):
            if parameter.name in KNOWN_BY_NAME or parameter.unit in ("", "1"):
                continue
            unit = re.sub(r"^1/", "per_", parameter.unit)
            ending = "_" + re.sub(r"[/·]", "_", re.sub(r"[()]", "", unit)).replace("°", "deg").replace("%", "percent")
            assert parameter.name.endswith(ending), f"{part.__name__}.{parameter.name} is in {parameter.unit}"


@pytest.mark.parametrize("path", SOURCES + TESTS, ids=names(SOURCES + TESTS))
def test_files_are_short(path: Path) -> None:
    """One job each, so at most 400 lines."""
    assert len(path.read_text(encoding="utf-8").splitlines()) <= MOST_LINES


@pytest.mark.parametrize("path", SOURCES, ids=names(SOURCES))
def test_functions_are_short_and_take_few_parameters(path: Path) -> None:
    """At most 60 lines but for compiled loops, and eight parameters but for the commands' own functions."""
    inside = path.relative_to(TOP)
    many = {f.name for f in functions(path) if parameters(f) > MOST_PARAMETERS}
    assert inside.parent == COMMANDS or not many
    long = {f.name for f in functions(path) if (f.end_lineno or 0) - f.lineno >= LONGEST_FUNCTION
            and not COMPILED & {getattr(d, "id", "") for d in f.decorator_list}}
    assert not long


def test_folders_are_small() -> None:
    """A folder is a capability, of at most twenty files."""
    folders = {path.parent for room in ROOMS for path in (TOP / room).rglob("*.py")}
    sizes = {str(folder.relative_to(TOP)): sum(p.is_file() and not p.name.startswith(".") for p in folder.iterdir())
             for folder in sorted(folders)}
    assert not {folder: size for folder, size in sizes.items() if size > MOST_FILES}


@pytest.mark.parametrize("path", SOURCES, ids=names(SOURCES))
def test_nothing_inside_imports_the_package(path: Path) -> None:
    """`cuffloop` is for users: what it is made of never looks at it."""
    if not path.is_relative_to(TOP / PACKAGE):
        assert not [name for node in ast.walk(parsed(path)) if isinstance(node, ast.Import | ast.ImportFrom)
                    for name in ([a.name for a in node.names] if isinstance(node, ast.Import) else [node.module or ""])
                    if name.partition(".")[0] == "cuffloop"]


def imports_at_the_top(tree: ast.Module) -> Iterator[str]:
    for node in tree.body:
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        if isinstance(node, ast.ImportFrom) and node.module and not node.level:
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


@pytest.mark.parametrize("path", SOURCES, ids=names(SOURCES))
def test_slow_libraries_are_imported_where_they_are_used(path: Path) -> None:
    """Plotting, files and the like load in a second; a command that does not need them must not wait for them."""
    slow = {name for name in imports_at_the_top(parsed(path))
            if any(name == heavy or name.startswith(f"{heavy}.") for heavy in SLOW_TO_IMPORT)}
    assert slow <= ({"typer"} if path.relative_to(TOP).parent == COMMANDS else set())


@pytest.mark.parametrize("path", SOURCES + TESTS, ids=names(SOURCES + TESTS))
def test_nothing_is_left_for_later_or_waved_through(path: Path) -> None:
    """No reminders, no uncovered corners excused, no type error silenced without saying which."""
    text = path.read_text(encoding="utf-8")
    for word in ("TO" + "DO", "FIX" + "ME", "X" * 3, "pragma" + ": no cover"):
        assert word not in text
    silenced = "type" + ": ignore"
    assert text.count(silenced) == text.count(silenced + "["), "say which error is silenced"
