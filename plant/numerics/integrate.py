"""Fixed-step integration of states that are (nested) NamedTuples of floats.

Classical fourth-order Runge–Kutta (Kutta 1901). A state is advanced by value: nothing is mutated, so the compiler
keeps a whole plant in registers and can lay many plants side by side.
"""
from __future__ import annotations

from collections.abc import Callable
from typing import Any

from numba import types
from numba.extending import overload

from plant.declare import OPTIONS
from plant.numerics.vector import choose, multiply_add

NOTHING = 1e-100  # in whatever unit


def advance(state: Any, step: float, rate: Any) -> Any:
    """state + step · rate, element by element through nested tuples of the same shape."""
    if isinstance(state, tuple):
        parts = [advance(s, step, r) for s, r in zip(state, rate, strict=True)]
        return type(state)(*parts) if hasattr(state, "_fields") else tuple(parts)
    return multiply_add(step, rate, state)


def weigh(first: Any, second: Any, third: Any, fourth: Any) -> Any:
    """(first + 2 second + 2 third + fourth) / 6, element by element: the Runge–Kutta weights."""
    if isinstance(first, tuple):
        parts = [weigh(*values) for values in zip(first, second, third, fourth, strict=True)]
        return type(first)(*parts) if hasattr(first, "_fields") else tuple(parts)
    return multiply_add(2.0, second + third, first + fourth) * (1.0 / 6.0)


def without_denormals(state: Any) -> Any:
    """The state with every number too small to mean anything set to zero, element by element.

    A decay that runs on towards zero ends in denormal numbers, which processors handle twenty times slower.
    """
    if isinstance(state, tuple):
        parts = [without_denormals(s) for s in state]
        return type(state)(*parts) if hasattr(state, "_fields") else tuple(parts)
    return choose(abs(state) < NOTHING, 0.0, state)  # NaN stays NaN


def selected(condition: Any, yes: Any, no: Any) -> Any:
    """`choose`, element by element through nested tuples of the same shape."""
    if isinstance(yes, tuple):
        parts = [selected(condition, *values) for values in zip(yes, no, strict=True)]
        return type(yes)(*parts) if hasattr(yes, "_fields") else tuple(parts)
    return choose(condition, yes, no)


def put(values: tuple[float, ...], array: Any) -> None:
    """Write a flat tuple to the first places of an array."""
    for i, value in enumerate(values):
        array[i] = value


def _unrolled(kind: Any, leaf: str, names: tuple[str, ...]) -> tuple[str, dict[str, Any]]:
    """Source of an expression that applies `leaf` to every float in a state type, and the classes it names."""
    classes: dict[str, Any] = {"choose": choose, "multiply_add": multiply_add}

    def expression(node: Any, path: str) -> str:
        if not isinstance(node, types.BaseTuple):
            return leaf.format(*(f"{name}{path}" for name in names))
        inner = "".join(f"{expression(kind, f'{path}[{i}]')}, " for i, kind in enumerate(node.types))
        if isinstance(node, types.BaseNamedTuple):
            label = f"class_{len(classes)}"
            classes[label] = node.instance_class
            return f"{label}({inner})"
        return f"({inner})"

    return expression(kind, ""), classes


def _build(signature: str, kind: Any, leaf: str, names: tuple[str, ...]) -> Callable[..., Any]:
    # Numba has no element-wise arithmetic on tuples; a generated straight-line expression is what it compiles best
    body, scope = _unrolled(kind, leaf, names)
    exec(f"def unrolled({signature}):\n    return {body}\n", scope)
    return scope["unrolled"]  # type: ignore[no-any-return]


@overload(advance, jit_options=OPTIONS)
def _advance(state, step, rate):  # type: ignore[no-untyped-def]
    return _build("state, step, rate", state, "multiply_add(step, {1}, {0})", ("state", "rate"))


@overload(weigh, jit_options=OPTIONS)
def _weigh(first, second, third, fourth):  # type: ignore[no-untyped-def]
    names = ("first", "second", "third", "fourth")
    return _build(", ".join(names), first, "multiply_add(2.0, {1} + {2}, {0} + {3}) * (1.0 / 6.0)", names)


@overload(without_denormals, jit_options=OPTIONS)
def _without_denormals(state):  # type: ignore[no-untyped-def]
    return _build("state", state, f"choose(abs({{0}}) < {NOTHING}, 0.0, {{0}})", ("state",))


@overload(selected, jit_options=OPTIONS)
def _selected(condition, yes, no):  # type: ignore[no-untyped-def]
    return _build("condition, yes, no", yes, "choose(condition, {0}, {1})", ("yes", "no"))


@overload(put, jit_options=OPTIONS)
def _put(values, array):  # type: ignore[no-untyped-def]
    lines = "".join(f"    array[{i}] = values[{i}]\n" for i in range(len(values)))
    scope: dict[str, Any] = {}
    exec(f"def put_all(values, array):\n{lines}", scope)
    return scope["put_all"]
