"""How a part declares itself: its parameters once, its physics once, compiled and cached safely.

`quantity` puts a unit, bounds, a meaning and a source on a parameter; kernel, rig file, documentation and
bench read the same declaration. `compiled` is Numba's `njit` with a disk cache that cannot go stale.
`verb` makes a function that is resolved by the part's class when its caller is compiled.
"""
from __future__ import annotations

import hashlib
import os
import re
import tempfile
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path
from typing import Annotated, Any, Protocol, TypeVar, cast, get_type_hints

import numba
from numba import njit, types
from numba.extending import overload
from pydantic import Field
from pydantic.fields import FieldInfo

Function = TypeVar("Function", bound=Callable[..., Any])

UNSIGNED = "32 bits without a sign"  # in the metadata of a whole number: how emitted code keeps it
Unsigned = Annotated[int, UNSIGNED]
ROOMS = ("plant", "controller", "calibrate", "experiments")


def quantity(unit: str, low: float, high: float, meaning: str, source: str) -> Any:
    """A bounded parameter: unit as printed, inclusive bounds, meaning, where the default comes from."""
    return Field(
        ge=low, le=high, allow_inf_nan=False, description=meaning, json_schema_extra={"unit": unit, "source": source}
    )


def switch(meaning: str, source: str) -> Any:
    """A yes-or-no parameter."""
    return Field(description=meaning, json_schema_extra={"unit": "", "source": source})


def group(meaning: str) -> Any:
    """A parameter that is itself a NamedTuple of declared parameters."""
    return Field(description=meaning, json_schema_extra={"unit": "", "source": ""})


class Declared:
    """One parameter as declared: name, default, unit, bounds, meaning, source (plain data for printing)."""

    def __init__(self, name: str, default: Any, info: FieldInfo, annotation: Any) -> None:
        extra = info.json_schema_extra if isinstance(info.json_schema_extra, dict) else {}
        bounds = {type(m).__name__: m for m in info.metadata}
        self.name = name
        self.default = default
        self.annotation = annotation
        self.kind = annotation.__origin__
        self.unit = str(extra.get("unit", ""))
        self.meaning = info.description or ""
        self.source = str(extra.get("source", ""))
        self.low: float | None = getattr(bounds.get("Ge"), "ge", None)
        self.high: float | None = getattr(bounds.get("Le"), "le", None)


_declared: dict[type, tuple[Declared, ...]] = {}  # reading type hints is slow, and a sweep asks at every design


def declared(part_class: type) -> tuple[Declared, ...]:
    """Every parameter of a part's NamedTuple class, in order. Raises ValueError for one without a declaration."""
    if part_class not in _declared:
        _declared[part_class] = _read_declaration(part_class)
    return _declared[part_class]


def _read_declaration(part_class: type) -> tuple[Declared, ...]:
    found = []
    hints = get_type_hints(part_class, include_extras=True)
    defaults: dict[str, Any] = getattr(part_class, "_field_defaults", {})
    for name in part_class._fields:  # type: ignore[attr-defined]
        infos = [m for m in getattr(hints[name], "__metadata__", ()) if isinstance(m, FieldInfo)]
        if len(infos) != 1:
            raise ValueError(f"{part_class.__name__}.{name} has no unit, bounds, meaning and source")
        found.append(Declared(name, defaults.get(name), infos[0], hints[name]))
    return tuple(found)


# --- compiling -------------------------------------------------------------------------------------------------

OPTIONS: Any = {"error_model": "numpy", "no_cfunc_wrapper": True}  # nothing here is called from C

_outside_sources: set[Path] = set()  # a user's own part files, beside the rooms' own
_cached: list[Any] = []  # every dispatcher with a disk cache, to move when a user's file joins


_COMPILES = re.compile(
    rb"^from plant\.declare import .*\b(compiled|released|fused|inlined|verb)\b|^(from|import) numba", re.M)
_IMPORT = re.compile(rb"^\s*(?:from|import) ((?:%s)(?:\.\w+)*)(?: import ([\w, ]+))?" % "|".join(ROOMS).encode(), re.M)


def _sources(top: Path) -> list[Path]:
    """Every file below `top` that shapes compiled code: those that compile, all that they import, the user's own."""
    texts = {
        ".".join(p.relative_to(top).with_suffix("").parts): p.read_bytes()
        for room in ROOMS for p in sorted((top / room).glob("**/*.py"))
    }
    waiting = [module for module, text in texts.items() if _COMPILES.search(text)]
    shaping: set[str] = set()
    while waiting:
        module = waiting.pop()
        if module in shaping or module not in texts:
            continue
        shaping.add(module)
        for found, names in _IMPORT.findall(texts[module]):
            waiting += [found.decode(), *(f"{found.decode()}.{name.strip()}" for name in names.decode().split(","))]
    return [top / f"{module.replace('.', '/')}.py" for module in sorted(shaping)] + sorted(_outside_sources)


def cache_directory() -> Path:
    """Where compiled code is kept: named after a hash of every source file and library that shapes the code.

    Numba itself only notices an edit in the file of the cached function, not in the files of what it calls.
    """
    digest = hashlib.sha256()
    for library in ("numba", "llvmlite", "numpy"):
        digest.update(f"{library} {version(library)}\n".encode())
    top = Path(__file__).resolve().parent.parent
    for path in _sources(top):
        # a user's file by its whole path: the same part in another folder is another module to what was compiled
        name = str(path) if path in _outside_sources else path.relative_to(top).as_posix()
        digest.update(f"{name}\n".encode("utf-8", "surrogateescape") + path.read_bytes())
    home = os.environ.get("CUFFLOOP_CACHE_DIR") or os.path.join(
        os.environ.get("XDG_CACHE_HOME") or os.path.expanduser("~/.cache"), "cuffloop"
    )
    place = Path(home) / digest.hexdigest()[:20]
    try:
        place.mkdir(parents=True, exist_ok=True)
    except OSError:  # a read-only home: compiled code then lives as long as the machine's temporary files
        place = Path(tempfile.gettempdir()) / "cuffloop" / digest.hexdigest()[:20]
        place.mkdir(parents=True, exist_ok=True)
    return place


_place: Path | None = None


def _enable_cache(dispatcher: Any) -> None:
    """Give one dispatcher a disk cache in our directory, leaving Numba's global setting as it was."""
    global _place
    if _place is None:
        _place = cache_directory()
    before = numba.config.CACHE_DIR
    numba.config.CACHE_DIR = str(_place)
    try:
        dispatcher.enable_caching()
    finally:
        numba.config.CACHE_DIR = before


def _with_disk_cache(dispatcher: Any) -> Any:
    _enable_cache(dispatcher)
    _cached.append(dispatcher)
    return dispatcher


def _told_apart(function: Function) -> Function:
    """The same function, named after what it closes over where a factory made it.

    Machine code is linked by name, argument types and a count of this process's compilations. Code from the disk cache
    brings another process's counts, so that two functions of one factory would now and then be taken for each other.
    """
    if function.__closure__:
        parts = (getattr(cell.cell_contents, "__qualname__", repr(cell.cell_contents)) for cell in function.__closure__)
        function.__qualname__ += f"[{', '.join(parts)}]"
    return function


def compiled(function: Function) -> Function:
    """Compile a pure function on first call and keep the machine code on disk until any source changes."""
    return _with_disk_cache(njit(**OPTIONS)(_told_apart(function)))  # type: ignore[no-any-return]


def released(function: Function) -> Function:
    """Like `compiled`, and lets other Python threads run meanwhile: for long work on arrays of one owner."""
    return _with_disk_cache(njit(nogil=True, **OPTIONS)(_told_apart(function)))  # type: ignore[no-any-return]


def fused(function: Function) -> Function:
    """Like `compiled`, and merged into every compiled caller: for what runs several times a tick.

    What is constant in the caller's loop is then worked out once, and no state or parameter goes through memory.
    """
    return _with_disk_cache(njit(forceinline=True, **OPTIONS)(_told_apart(function)))  # type: ignore[no-any-return]


def inlined(function: Function) -> Function:
    """Compile a small function that only other compiled functions call; it is cached inside its callers."""
    return njit(**OPTIONS)(_told_apart(function))  # type: ignore[no-any-return]


def include_source(path: Path) -> None:
    """Count a file outside the rooms (a user's own part) among what the cached code depends on."""
    global _place
    path, top = path.resolve(), Path(__file__).resolve().parent.parent
    if path in _outside_sources or any(path.is_relative_to(top / room) for room in ROOMS):
        return
    _outside_sources.add(path)
    _place = None
    for dispatcher in _cached:
        _enable_cache(dispatcher)


class Verb(Protocol):
    """A generic function of a part, as a type checker sees it."""

    implementations: dict[type, Any]
    otherwise: Any  # answers for a class without one of its own; None: nobody does

    def __call__(self, part: Any, *args: Any) -> Any: ...

    def of(self, part_class: type) -> Callable[[Function], Function]:
        """Register the decorated function as the answer of this class of part."""


def verb(name: str, merged: bool = False, otherwise: Function | None = None) -> Verb:
    """A generic function resolved by the part's class when its caller is compiled; register with `.of(Class)`.

    `merged`: each implementation is merged into its callers, as with `fused`. `otherwise` answers for every class that
    has no implementation of its own.
    """
    options = {**OPTIONS, "forceinline": True} if merged else OPTIONS
    implementations: dict[type, Any] = {}
    usual = None if otherwise is None else fused(otherwise) if merged else compiled(otherwise)

    def generic(part: Any, *args: Any) -> Any:
        own = implementations.get(type(part), usual)
        if own is None:
            raise KeyError(type(part))
        return own(part, *args)

    generic.__name__ = generic.__qualname__ = name

    @overload(generic, strict=False, jit_options=options)  # not strict: each implementation names its own arguments
    def _resolve(part, *args):  # type: ignore[no-untyped-def]
        own = implementations.get(part.instance_class, usual) if isinstance(part, types.BaseNamedTuple) else None
        return None if own is None else own.py_func

    def register(part_class: type) -> Callable[[Function], Function]:
        def keep(function: Function) -> Function:
            include_source(Path(function.__code__.co_filename))
            implementations[part_class] = fused(function) if merged else compiled(function)
            return implementations[part_class]  # type: ignore[no-any-return]

        return keep

    generic.of = register  # type: ignore[attr-defined]
    generic.implementations = implementations  # type: ignore[attr-defined]
    generic.otherwise = usual  # type: ignore[attr-defined]
    return cast(Verb, generic)
