"""The functions on the tick in single precision: the same source, with every number and constant rounded to 24 bits.

A twin runs in plain Python on NumPy's scalars, apart from the walk that emits C: literals, constants of modules and
primitives are replaced in the tree, nothing else. It is what single-precision C is compared with.
"""
from __future__ import annotations

import ast
import copy
import math
from collections.abc import Callable
from typing import Any

import numpy as np

from experiments.firmware.emit.kinds import Refusal
from experiments.firmware.emit.source import ELEMENTWISE, source_of
from plant.numerics import integrate, vector

Single = np.float32


class _Rounded(ast.NodeTransformer):
    """Literals as single-precision numbers."""

    def visit_Constant(self, node: ast.Constant) -> ast.AST:
        if isinstance(node.value, float):
            call = ast.Call(ast.Name("_single", ast.Load()), [node], [])
            return ast.copy_location(call, node)
        return node

    def visit_BinOp(self, node: ast.BinOp) -> ast.AST:
        if isinstance(node.op, ast.Pow):
            return ast.copy_location(ast.Call(ast.Name("_single", ast.Load()), [node], []), node)
        self.generic_visit(node)
        return node


def _choose(condition: Any, yes: Any, no: Any) -> Any:
    return yes if condition else no


class _Mathematics:
    """`math` with the library's functions of one precision."""

    pi, nan, inf = Single(math.pi), Single(math.nan), Single(math.inf)
    sqrt = staticmethod(np.sqrt)
    copysign = staticmethod(np.copysign)


PRIMITIVES: dict[Any, Any] = {
    vector.choose: _choose, integrate.selected: _choose, vector.opposite: lambda condition: not condition,
    vector.held_bits: lambda value: np.uint64(Single(value).view(np.uint32)), vector.held_size: lambda value: 32,
    vector.rounded_down: np.floor, vector.anywhere: bool, vector.most: lambda value: value,
}


class Twins:
    """Single-precision twins of compiled functions, made when they are first asked for."""

    def __init__(self) -> None:
        self.made: dict[Any, Callable[..., Any]] = {}

    def twin(self, function: Any) -> Callable[..., Any]:
        """The twin of a compiled function or verb. Raises Refusal for what has none."""
        if hasattr(function, "implementations"):
            twins = {kind: self.twin(own) for kind, own in function.implementations.items()}
            if function.otherwise is None:
                return lambda part, *args: twins[type(part)](part, *args)
            usual = self.twin(function.otherwise)
            return lambda part, *args: twins.get(type(part), usual)(part, *args)
        plain = getattr(function, "py_func", None)
        if plain is None or function in ELEMENTWISE:
            raise Refusal(f"{getattr(function, '__name__', function)}: has no twin in single precision")
        if plain not in self.made:
            self.made[plain] = lambda *args: self.made[plain](*args)  # for whoever asks while it is made
            self.made[plain] = self._make(plain)
        return self.made[plain]

    def _make(self, plain: Callable[..., Any]) -> Callable[..., Any]:
        source = source_of(plain)
        tree = copy.deepcopy(source.tree)
        tree.decorator_list, tree.returns = [], None
        for argument in tree.args.args:
            argument.annotation = None
        used = {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)}
        module = ast.Module([ast.fix_missing_locations(_Rounded().visit(tree))], [])
        scope: dict[str, Any] = {"_single": Single}
        for name in used & set(source.names):
            scope[name] = self._held(source.names[name])
        exec(compile(module, source.file, "exec"), scope)
        return scope[source.name]  # type: ignore[no-any-return]

    def _held(self, value: Any) -> Any:
        """What a name of the module stands for in single precision."""
        if isinstance(value, float):
            return Single(value)
        if isinstance(value, tuple) and hasattr(value, "_fields"):
            return rounded(value)
        if value is math:
            return _Mathematics
        if callable(value) and not isinstance(value, type):
            if value in PRIMITIVES:
                return PRIMITIVES[value]
            if hasattr(value, "implementations") or hasattr(value, "py_func"):
                return self.twin(value)
        return value


def rounded(value: Any) -> Any:
    """A nested tuple with its real numbers in single precision."""
    if isinstance(value, tuple):
        parts = [rounded(inner) for inner in value]
        return type(value)(*parts) if hasattr(value, "_fields") else tuple(parts)
    return Single(value) if isinstance(value, float) else value
