"""Several fingers side by side: a compiled number that is WIDTH numbers, one a lane.

Physics written for one float is compiled for these by type alone: each operation becomes one instruction (or a few)
for all lanes, with the same rounding as for one float. What a lane does must not branch on a lane's value; it chooses:
`choose` takes either of two values, `anywhere` asks whether any lane needs a piece of work. On single numbers all of
these do the obvious.
"""
from __future__ import annotations

import math
import operator
from collections.abc import Callable
from typing import Any, cast

import numpy as np
from llvmlite import ir
from numba import types
from numba.core import cgutils, imputils
from numba.core.typeconv import Conversion
from numba.core.typing.templates import AbstractTemplate, infer_global, signature
from numba.extending import intrinsic, models, register_model

WIDTH = 16  # lanes: two registers of 512 bits (one waits less for itself), or four of 256, or eight of 128
# the decorators of an untyped library, as a type checker may see them
lower_builtin = cast(Callable[..., Callable[[Any], Any]], imputils.lower_builtin)
lower_cast = cast(Callable[..., Callable[[Any], Any]], imputils.lower_cast)
CONDITION, NUMBER, WORD = types.boolean, types.float64, types.uint64


class Vector(types.Type):  # type: ignore[misc]
    """Numba's type of WIDTH booleans, floats or unsigned words."""

    def __init__(self, base: Any) -> None:
        self.base = base
        super().__init__(name=f"Vector({base} x {WIDTH})")

    def can_convert_from(self, typing: Any, other: Any) -> Any:
        """One number stands for the same number in every lane."""
        return Conversion.safe if isinstance(other, types.Number | types.Boolean) else None

    def unify(self, typing: Any, other: Any) -> Any:
        """A variable that is one number here and a vector there is a vector."""
        return self if self.can_convert_from(typing, other) is not None else None


numbers, words, conditions = Vector(NUMBER), Vector(WORD), Vector(CONDITION)
SHAPES = {numbers: ir.DoubleType(), words: ir.IntType(64), conditions: ir.IntType(1)}


@register_model(Vector)
class VectorModel(models.PrimitiveModel):  # type: ignore[misc]
    """A vector as the compiler back end knows it."""

    def __init__(self, manager: Any, kind: Vector) -> None:
        super().__init__(manager, kind, ir.VectorType(SHAPES[kind], WIDTH))


def _spread(builder: Any, value: Any) -> Any:
    """The same value in every lane."""
    shape = ir.VectorType(value.type, WIDTH)
    first = builder.insert_element(ir.Constant(shape, ir.Undefined), value, ir.Constant(ir.IntType(32), 0))
    zeros = ir.Constant(ir.VectorType(ir.IntType(32), WIDTH), [0] * WIDTH)
    return builder.shuffle_vector(first, ir.Constant(shape, ir.Undefined), zeros)


@lower_cast(types.Number, Vector)
@lower_cast(types.Boolean, Vector)
def _from_one(context: Any, builder: Any, source: Any, kind: Any, value: Any) -> Any:
    return _spread(builder, context.cast(builder, value, source, kind.base))


# --- functions of one value in every lane, or of several ------------------------------------------------------------


def _vector_among(args: tuple[Any, ...]) -> Any:
    found = [arg for arg in args if isinstance(arg, Vector)]
    plain = all(isinstance(types.unliteral(arg), Vector | types.Number | types.Boolean) for arg in args)
    return found[0] if found and plain else None


def _lanewise(function: Any, count: int, build: Callable[..., Any], result: Any = None, single: Any = None) -> None:
    """Teach Numba `function` of `count` values by `build(builder, kind, *values)`; `single` for plain floats too."""

    class Template(AbstractTemplate):  # type: ignore[misc]
        def generic(self, args: Any, kws: Any) -> Any:
            if len(args) != count or kws:
                return None
            kind = _vector_among(args)
            if kind is not None:
                return signature(result or kind, *[kind] * count)
            if single is not None and all(isinstance(types.unliteral(a), types.Number) for a in args):
                return signature(single, *[NUMBER] * count)
            return None

    infer_global(function)(Template)

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return build(builder, *args)

    lower_builtin(function, *[Vector] * count)(lower)
    if single is not None:
        lower_builtin(function, *[NUMBER] * count)(lower)


def _by_kind(on_floats: str, on_words: str) -> Callable[..., Any]:
    def build(builder: Any, *values: Any) -> Any:
        is_float = values[0].type in (ir.DoubleType(), ir.VectorType(ir.DoubleType(), WIDTH))
        return getattr(builder, on_floats if is_float else on_words)(*values)

    return build


def _compared(symbol: str) -> Callable[..., Any]:
    def build(builder: Any, first: Any, second: Any) -> Any:
        compare = builder.fcmp_unordered if symbol == "!=" else builder.fcmp_ordered
        return compare(symbol, first, second)

    return build


def _taken(symbol: str) -> Callable[..., Any]:
    """min or max as Numba has it for single floats: the first stays unless the second is truly beyond it."""

    def build(builder: Any, first: Any, second: Any) -> Any:
        return builder.select(builder.fcmp_ordered(symbol, second, first), second, first)

    return build


def _machine(name: str) -> Callable[..., Any]:
    """An LLVM intrinsic that is the same for one number and for a vector."""

    def build(builder: Any, *values: Any) -> Any:
        shape = values[0].type
        suffix = f".v{WIDTH}f64" if isinstance(shape, ir.VectorType) else ".f64"
        function = ir.FunctionType(shape, [shape] * len(values))
        return builder.call(cgutils.get_or_insert_function(builder.module, function, name + suffix), values)

    return build


for _operator, _name, _word in (
    (operator.add, "fadd", "add"), (operator.sub, "fsub", "sub"), (operator.mul, "fmul", "mul"),
    (operator.truediv, "fdiv", "udiv"), (operator.and_, "", "and_"), (operator.or_, "", "or_"),
    (operator.iadd, "fadd", "add"), (operator.isub, "fsub", "sub"), (operator.imul, "fmul", "mul"),
    (operator.itruediv, "fdiv", "udiv"), (operator.xor, "", "xor"), (operator.lshift, "", "shl"),
    (operator.rshift, "", "lshr"),
):
    _lanewise(_operator, 2, _by_kind(_name, _word))
for _operator, _symbol in (
    (operator.lt, "<"), (operator.le, "<="), (operator.gt, ">"), (operator.ge, ">="), (operator.eq, "=="),
    (operator.ne, "!="),
):
    _lanewise(_operator, 2, _compared(_symbol), conditions)
_lanewise(operator.neg, 1, lambda builder, value: builder.fneg(value))
_lanewise(min, 2, _taken("<"))
_lanewise(max, 2, _taken(">"))
_lanewise(abs, 1, _machine("llvm.fabs"))
_lanewise(math.sqrt, 1, _machine("llvm.sqrt"))
_lanewise(math.copysign, 2, _machine("llvm.copysign"))


def rounded_down(value: float) -> float:
    """The largest whole number that is not above a value, as a float."""
    return float(math.floor(value))


def multiply_add(first: float, second: float, third: float) -> float:
    """first · second + third, rounded once. (Outside compiled code: twice.)"""
    return first * second + third


def bits_of(value: float) -> Any:
    """The 64 bits of a float as an unsigned word."""
    return int(np.float64(value).view(np.uint64))


def float_of(word: Any) -> float:
    """The float that a word of 64 bits stands for."""
    return float(np.uint64(word).view(np.float64))


def as_float(word: Any) -> float:
    """An unsigned word as a float of like value."""
    return float(word)


def word_of(value: Any) -> Any:
    """A whole number that is not negative as an unsigned word."""
    return value


def _recast(builder: Any, value: Any, to: Any) -> Any:
    vector = isinstance(value.type, ir.VectorType)
    return builder.bitcast(value, ir.VectorType(to, WIDTH) if vector else to)


def _as_float(builder: Any, value: Any) -> Any:
    vector = isinstance(value.type, ir.VectorType)
    return builder.uitofp(value, ir.VectorType(ir.DoubleType(), WIDTH) if vector else ir.DoubleType())


_lanewise(rounded_down, 1, _machine("llvm.floor"), single=NUMBER)
_lanewise(multiply_add, 3, _machine("llvm.fma"), single=NUMBER)
_lanewise(bits_of, 1, lambda builder, value: _recast(builder, value, ir.IntType(64)), words, WORD)


@infer_global(float_of)
@infer_global(as_float)
class FromWord(AbstractTemplate):  # type: ignore[misc]
    """A float, or WIDTH of them, from words."""

    def generic(self, args: Any, kws: Any) -> Any:
        """One argument, a word or WIDTH of them."""
        if args[0] == words:
            return signature(numbers, words)
        return signature(NUMBER, WORD)


@infer_global(word_of)
class ToWord(AbstractTemplate):  # type: ignore[misc]
    """A word from an integer; words stay."""

    def generic(self, args: Any, kws: Any) -> Any:
        """One argument."""
        kind = words if args[0] == words else WORD
        return signature(kind, kind)


for _kind in (Vector, WORD):
    lower_builtin(word_of, _kind)(lambda context, builder, sig, args: args[0])
    lower_builtin(float_of, _kind)(lambda context, builder, sig, args: _recast(builder, args[0], ir.DoubleType()))
    lower_builtin(as_float, _kind)(lambda context, builder, sig, args: _as_float(builder, args[0]))


# --- choosing -------------------------------------------------------------------------------------------------------


def choose(condition: Any, yes: Any, no: Any) -> Any:
    """`yes` where the condition holds, else `no`, lane by lane; both are worked out."""
    return yes if condition else no


@infer_global(choose)
class Choose(AbstractTemplate):  # type: ignore[misc]
    """Types of `choose`: vectors if any of the three is one, else floats, or integers if both are."""

    def generic(self, args: Any, kws: Any) -> Any:
        """Condition, yes, no."""
        condition, *values = (types.unliteral(arg) for arg in args)
        if isinstance(condition, Vector) or any(isinstance(value, Vector) for value in values):
            kind = _vector_among(tuple(values)) or numbers
            return signature(kind, conditions if isinstance(condition, Vector) else CONDITION, kind, kind)
        kind = types.int64 if all(isinstance(value, types.Integer) for value in values) else NUMBER
        return signature(kind, CONDITION, kind, kind)


@lower_builtin(choose, types.Any, types.Any, types.Any)
def _choose(context: Any, builder: Any, sig: Any, args: Any) -> Any:
    return builder.select(*args)


def anywhere(condition: Any) -> bool:
    """Whether a condition holds in any lane."""
    return bool(condition)


def most(value: float) -> float:
    """The largest of all lanes."""
    return value


@infer_global(anywhere)
class Anywhere(AbstractTemplate):  # type: ignore[misc]
    """Types of `anywhere`."""

    def generic(self, args: Any, kws: Any) -> Any:
        """One condition."""
        return signature(CONDITION, args[0])


@lower_builtin(anywhere, CONDITION)
def _anywhere_one(context: Any, builder: Any, sig: Any, args: Any) -> Any:
    return args[0]


@lower_builtin(anywhere, Vector)
def _anywhere(context: Any, builder: Any, sig: Any, args: Any) -> Any:
    packed = builder.bitcast(args[0], ir.IntType(WIDTH))
    return builder.icmp_unsigned("!=", packed, ir.Constant(packed.type, 0))


@infer_global(most)
class Most(AbstractTemplate):  # type: ignore[misc]
    """Types of `most`."""

    def generic(self, args: Any, kws: Any) -> Any:
        """One value."""
        return signature(NUMBER, numbers if args[0] == numbers else NUMBER)


@lower_builtin(most, NUMBER)
def _most_one(context: Any, builder: Any, sig: Any, args: Any) -> Any:
    return args[0]


@lower_builtin(most, Vector)
def _most(context: Any, builder: Any, sig: Any, args: Any) -> Any:
    lanes = [builder.extract_element(args[0], ir.Constant(ir.IntType(32), i)) for i in range(WIDTH)]
    largest = lanes[0]
    for lane in lanes[1:]:
        largest = builder.select(builder.fcmp_ordered(">", lane, largest), lane, largest)
    return largest


# --- to and from arrays ---------------------------------------------------------------------------------------------


def _place(context: Any, builder: Any, kinds: Any, values: Any) -> Any:
    """Pointer to WIDTH numbers of an array of shape (rows, groups, WIDTH) at [row, group]."""
    array = context.make_array(kinds[0])(context, builder, values[0])
    zero = context.get_constant(types.intp, 0)
    place = cgutils.get_item_pointer(context, builder, kinds[0], array, [values[1], values[2], zero], wraparound=False)
    return builder.bitcast(place, ir.VectorType(SHAPES[Vector(kinds[0].dtype)], WIDTH).as_pointer())


@intrinsic
def load(typing, array, row, group):  # type: ignore[no-untyped-def]
    """One vector from array[row, group], an array of floats or words of shape (rows, groups, WIDTH)."""

    def build(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return builder.load(_place(context, builder, sig.args, args), align=8)

    return Vector(array.dtype)(array, types.intp, types.intp), build


@intrinsic
def store(typing, array, row, group, value):  # type: ignore[no-untyped-def]
    """Put one vector, or one number in every lane, to array[row, group] of shape (rows, groups, WIDTH)."""

    def build(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        builder.store(args[3], _place(context, builder, sig.args, args), align=8)
        return context.get_dummy_value()

    return types.void(array, types.intp, types.intp, Vector(array.dtype)), build
