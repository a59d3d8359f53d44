"""A unit of C: the functions that are asked for and all that they need, structs and named constants first."""
from __future__ import annotations

import ast
import inspect
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

from experiments.firmware.emit import terms
from experiments.firmware.emit.kinds import LIBRARY, REAL, WHOLE, WHOLES, Kind, Numbers, Refusal, Struct, kind_of, safe
from experiments.firmware.emit.source import Source, defining_module, is_unrolled, plain_function, source_of, unrolled
from experiments.firmware.emit.statements import Statements
from experiments.firmware.emit.terms import Term


@dataclass
class Emitted:
    """One function in C."""

    name: str
    kinds: list[Kind]
    source: Source
    result: Kind = REAL
    prototype: str = ""
    lines: list[str] = field(default_factory=list)
    reads: dict[str, None] = field(default_factory=dict)  # Class.field of settings and state that it reads
    calls: dict[str, None] = field(default_factory=dict)


class Unit:
    """Collects what is emitted; the same calls in the same order give the same text."""

    def __init__(self, numbers: Numbers) -> None:
        self.numbers = numbers
        self.structs: dict[str, Struct] = {}
        self.constants: dict[str, tuple[float | int, str]] = {}
        self.origin: dict[str, str] = {}  # name in its module of each constant
        self.helpers: dict[str, None] = {}
        self.functions: dict[tuple[Any, tuple[Kind, ...]], Emitted] = {}
        self.names: set[str] = {*LIBRARY, *terms.HELPERS}
        self.order: list[Emitted] = []
        self._under_way: list[tuple[Any, tuple[Kind, ...]]] = []
        self._writing: list[Emitted] = []

    def root(self, function: Callable[..., Any], *examples: Any) -> Emitted:
        """Emit a function for the kinds of these example arguments. Raises Refusal."""
        kinds = [kind_of(example) for example in examples]
        for kind in kinds:
            if isinstance(kind, Struct):
                self.struct(kind, None, None)
        plain = plain_function(function, kinds)
        if plain is None:
            raise Refusal(f"{getattr(function, '__name__', function)}: not a compiled function")
        return self.function(plain, kinds, None, None)

    # --- what functions ask for -----------------------------------------------------------------------------------

    def is_taken(self, name: str) -> bool:
        """Whether a name means something to the whole unit."""
        return name in self.names or name in self.structs

    def note_read(self, kind: Struct, name: str) -> None:
        """Remember that the function being written reads a field."""
        if self._writing and kind.source is not None:
            self._writing[-1].reads[f"{kind.name}.{name}"] = None

    def helper(self, name: str) -> str:
        """A small function that C does not have."""
        self.helpers[name] = None
        return name

    def struct(self, kind: Struct, source: Source | None, node: ast.AST | None) -> Struct:
        """Register a struct and all inside it. One class has one shape in a unit."""
        for _, inner in kind.fields:
            if isinstance(inner, Struct):
                self.struct(inner, source, node)
        known = self.structs.setdefault(kind.name, kind)
        if known != kind:
            why = f"{kind.name} is built with other kinds of fields than before"
            raise source.refuse(node, why) if source and node else Refusal(why)
        return known

    def named_constant(self, source: Source, name: str, value: float | int) -> Term:
        """A constant by its name; two modules' constants of one name are told apart by the module's."""
        if isinstance(value, bool):
            return terms.constant(value, self.numbers)
        module = defining_module(source.names, name)
        short = module.rpartition(".")[2].upper()
        label = {"math_pi": "PI", "math_nan": "NAN", "math_inf": "INFINITY"}.get(name, name)
        if label not in ("NAN", "INFINITY"):
            label = label if label.upper() == label else re.sub(r"^_", "", label)
            held = self.constants.get(label)
            if held is not None and held != (value, module):
                label = label if held[0] == value else f"{short}_{label}"
            self.constants.setdefault(label, (value, module))
            self.origin.setdefault(label, name)
            self.names.add(label)
        kind = REAL if isinstance(value, float) else WHOLE
        if label in ("NAN", "INFINITY"):
            label = f"({self.numbers.c_type}){label}"  # the macros of C are floats
        return Term(label, kind, literal=value, source=label)

    def parameters(self, source: Source, node: ast.Call, found: Any) -> list[str]:
        """Names of a function's parameters."""
        function = getattr(found, "py_func", None)
        if function is None:
            raise source.refuse(node, "arguments by name are for compiled functions")
        return list(inspect.signature(function).parameters)

    def function(
        self, function: Callable[..., Any], kinds: Iterable[Kind], caller: Source | None, node: ast.AST | None
    ) -> Emitted:
        """The C of a function for these kinds, emitted when it is first asked for."""
        given = list(kinds)
        source = unrolled(function, given) if is_unrolled(function) else source_of(function)
        arguments = source.tree.args
        parameters = [*arguments.posonlyargs, *arguments.args]
        if arguments.vararg or arguments.kwarg or arguments.kwonlyargs or len(parameters) != len(given):
            raise source.refuse(source.tree, "takes plain arguments, all of them given")
        declared = {"float": REAL, **WHOLES}
        given = [declared.get(getattr(p.annotation, "id", ""), kind) if kind == WHOLE else kind
                 for p, kind in zip(parameters, given, strict=True)]
        key = (function, tuple(given))
        if key in self._under_way:
            raise source.refuse(source.tree, "recursion cannot be emitted")
        if key not in self.functions:
            self._under_way.append(key)
            self.functions[key] = self._emit(source, [p.arg for p in parameters], given)
            self._under_way.pop()
        emitted = self.functions[key]
        if self._writing:
            self._writing[-1].calls[emitted.name] = None
        return emitted

    def _emit(self, source: Source, parameters: list[str], kinds: list[Kind]) -> Emitted:
        name, number = source.name, 1
        while name in self.names or safe(name) != name:
            number += 1
            name = f"{source.name}_{number}" if number > 2 else f"own_{source.name}"
        self.names.add(name)
        emitted = Emitted(name, kinds, source)
        self._writing.append(emitted)
        walk = Statements(self, source)
        listed = []
        for parameter, kind in zip(parameters, kinds, strict=True):
            c_name, c_type = walk.fresh(parameter), terms.c_type(kind, self.numbers)
            listed.append(f"const {c_type} *{c_name}" if isinstance(kind, Struct) else f"{c_type} {c_name}")
            walk.locals[parameter] = Term(c_name, kind, place=True, pointer=isinstance(kind, Struct), source=parameter)
        walk.body()
        self._writing.pop()
        if walk.result is None:
            raise source.refuse(source.tree, "returns nothing")
        used = set(re.findall(r"\w+", "\n".join(walk.blocks[0])))
        unused = [f"    (void){text.split()[-1].lstrip('*')};" for text in listed
                  if text.split()[-1].lstrip("*") not in used]
        emitted.result = walk.result
        emitted.prototype = f"{terms.c_type(walk.result, self.numbers)} {name}({', '.join(listed) or 'void'})"
        emitted.lines = [*(f"    {line}" for line in walk.hoisted), *unused, *walk.blocks[0]]
        self.order.append(emitted)
        return emitted
