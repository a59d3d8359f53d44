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
NUMBER, WORD, CONDITION, WHOLE = types.float64, types.uint64, types.boolean, types.int64
IR = {NUMBER: ir.DoubleType(), WORD: ir.IntType(64), CONDITION: ir.IntType(1)}


class Vector(types.Type):  # type: ignore[misc]
    """Numba's type of WIDTH floats, unsigned words or booleans."""

    def __init__(self, base: Any) -> None:
        self.base = base
        super().__init__(name=f"Vector({base} x {WIDTH})")

    def can_convert_from(self, typing: Any, other: Any) -> Any:
        """One number stands for the same number in every lane."""
        return Conversion.safe if isinstance(other, types.Number | types.Boolean) else None

    def unify(self, typing: Any, other: Any) -> Any:
        """A variable that is one number here and a vector there is a vector."""
        return self if self.can_convert_from(typing, other) is not None else None


@register_model(Vector)
class VectorModel(models.PrimitiveModel):  # type: ignore[misc]
    """A vector as the compiler back end knows it."""

    def __init__(self, manager: Any, kind: Vector) -> None:
        super().__init__(manager, kind, ir.VectorType(IR[kind.base], WIDTH))


@lower_cast(types.Number, Vector)
@lower_cast(types.Boolean, Vector)
def _from_one(context: Any, builder: Any, source: Any, kind: Any, value: Any) -> Any:
    """The same value in every lane."""
    one = context.cast(builder, value, source, kind.base)
    nothing = ir.Constant(ir.VectorType(one.type, WIDTH), ir.Undefined)
    first = builder.insert_element(nothing, one, ir.Constant(ir.IntType(32), 0))
    return builder.shuffle_vector(first, nothing, ir.Constant(ir.VectorType(ir.IntType(32), WIDTH), [0] * WIDTH))


# --- teaching Numba functions of vectors ----------------------------------------------------------------------------


def _side_by_side(kind: Any) -> Vector:
    return Vector(NUMBER if kind == WHOLE else kind)


def _fits(arg: Any, kind: Any) -> bool:
    """Whether an argument, one value or a vector, can stand where `kind` is asked for."""
    if isinstance(arg, Vector):
        return bool(arg.base == kind)
    wanted = {NUMBER: types.Number, WORD: types.Integer, WHOLE: types.Integer, CONDITION: types.Boolean}
    return isinstance(arg, wanted[kind])


def _teach(
    function: Any, build: Callable[..., Any], *forms: tuple[Any, ...], plain: bool = False, to_one: bool = False
) -> None:
    """Teach Numba a function of vectors, lowered by `build(builder, *values)`.

    A form is the kinds of the operands and then of the result, as for one finger; the first that fits is taken.
    `plain`: teach it for single values too (it is not Python's or Numba's own). `to_one`: the result is one value.
    """

    class Template(AbstractTemplate):  # type: ignore[misc]
        def generic(self, args: Any, kws: Any) -> Any:
            lanes = any(isinstance(arg, Vector) for arg in args)
            if not kws and (lanes or plain):
                for *operands, result in forms:
                    if len(operands) == len(args) and all(map(_fits, args, operands)):
                        if lanes:
                            return signature(result if to_one else _side_by_side(result), *map(_side_by_side, operands))
                        return signature(result, *operands)
            return None

    infer_global(function)(Template)

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return build(builder, *args)

    lower_builtin(function, *[Vector] * (len(forms[0]) - 1))(lower)
    for *operands, _ in forms if plain else ():
        lower_builtin(function, *operands)(lower)


def _shaped(scalar: Any, like: Any) -> Any:
    """The type of a scalar, or of WIDTH of them where `like` is the value of a vector."""
    return ir.VectorType(scalar, WIDTH) if isinstance(like.type, ir.VectorType) else scalar


def _arithmetic(on_numbers: str, on_words: str) -> Callable[..., Any]:
    def build(builder: Any, *values: Any) -> Any:
        is_number = values[0].type == _shaped(IR[NUMBER], values[0])
        return getattr(builder, on_numbers if is_number else on_words)(*values)

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


NUMBERS, WORDS, CONDITIONS = (NUMBER,) * 3, (WORD,) * 3, (CONDITION,) * 3
for _operators, _names in (
    ((operator.add, operator.iadd), ("fadd", "add")), ((operator.sub, operator.isub), ("fsub", "sub")),
    ((operator.mul, operator.imul), ("fmul", "mul")),
):
    for _operator in _operators:
        _teach(_operator, _arithmetic(*_names), NUMBERS, WORDS)
for _operator in (operator.truediv, operator.itruediv):
    _teach(_operator, lambda builder, first, second: builder.fdiv(first, second), NUMBERS)
for _operator, _name in ((operator.and_, "and_"), (operator.or_, "or_"), (operator.xor, "xor")):
    _teach(_operator, _arithmetic("", _name), WORDS, CONDITIONS)
for _operator, _name in ((operator.lshift, "shl"), (operator.rshift, "lshr")):
    _teach(_operator, _arithmetic("", _name), WORDS)
for _operator, _symbol in (
    (operator.lt, "<"), (operator.le, "<="), (operator.gt, ">"), (operator.ge, ">="), (operator.eq, "=="),
    (operator.ne, "!="),
):
    _teach(_operator, _compared(_symbol), (NUMBER, NUMBER, CONDITION))
_teach(operator.neg, lambda builder, value: builder.fneg(value), (NUMBER, NUMBER))
_teach(min, _taken("<"), NUMBERS)
_teach(max, _taken(">"), NUMBERS)
_teach(abs, _machine("llvm.fabs"), (NUMBER, NUMBER))
_teach(math.sqrt, _machine("llvm.sqrt"), (NUMBER, NUMBER))
_teach(math.copysign, _machine("llvm.copysign"), NUMBERS)
for _function, _name in ((math.exp, "llvm.exp"), (math.sin, "llvm.sin")):  # the standard library's, called lane by lane
    _teach(_function, _machine(_name), (NUMBER, NUMBER))


# --- functions of one value or of vectors, in compiled code and outside ---------------------------------------------


def rounded_down(value: float) -> float:
    """The largest whole number that is not above a value, as a float."""
    return float(math.floor(value))


def multiply_add(first: float, second: float, third: float) -> float:
    """first · second + third, rounded once. (Outside compiled code: twice.)"""
    return first * second + third


def bits_of(value: float) -> Any:
    """The 64 bits of a float as an unsigned word."""
    return int(np.float64(value).view(np.uint64))


def held_bits(value: float) -> Any:
    """The bits by which a number is held in the arithmetic at hand, as an unsigned word: 64, or 32 in emitted code."""
    return int(np.float64(value).view(np.uint64))


def held_size(value: float) -> int:
    """How many bits that are."""
    return 64


def float_of(word: Any) -> float:
    """The float that a word of 64 bits stands for."""
    return float(np.uint64(word).view(np.float64))


def as_float(word: Any) -> float:
    """An unsigned word as a float of like value."""
    return float(word)


def word_of(value: Any) -> Any:
    """A whole number that is not negative as an unsigned word."""
    return value


def choose(condition: Any, yes: Any, no: Any) -> Any:
    """`yes` where the condition holds, else `no`, lane by lane; both are worked out."""
    return yes if condition else no


def opposite(condition: Any) -> Any:
    """Whether a condition does not hold, lane by lane."""
    return not condition


def anywhere(condition: Any) -> bool:
    """Whether a condition holds in any lane."""
    return bool(condition)


def most(value: float) -> float:
    """The largest of all lanes."""
    return value


def _any_lane(builder: Any, value: Any) -> Any:
    if not isinstance(value.type, ir.VectorType):
        return value
    packed = builder.bitcast(value, ir.IntType(WIDTH))
    return builder.icmp_unsigned("!=", packed, ir.Constant(packed.type, 0))


def _largest_lane(builder: Any, value: Any) -> Any:
    if not isinstance(value.type, ir.VectorType):
        return value
    largest, *others = (builder.extract_element(value, ir.Constant(ir.IntType(32), i)) for i in range(WIDTH))
    for lane in others:
        largest = builder.select(builder.fcmp_ordered(">", lane, largest), lane, largest)
    return largest


_teach(rounded_down, _machine("llvm.floor"), (NUMBER, NUMBER), plain=True)
_teach(multiply_add, _machine("llvm.fma"), (NUMBER,) * 4, plain=True)
_teach(bits_of, lambda b, value: b.bitcast(value, _shaped(IR[WORD], value)), (NUMBER, WORD), plain=True)
_teach(held_bits, lambda b, value: b.bitcast(value, _shaped(IR[WORD], value)), (NUMBER, WORD), plain=True)
_teach(held_size, lambda b, value: ir.Constant(ir.IntType(64), 64), (NUMBER, WHOLE), plain=True)
_teach(float_of, lambda b, word: b.bitcast(word, _shaped(IR[NUMBER], word)), (WORD, NUMBER), plain=True)
_teach(as_float, lambda b, word: b.uitofp(word, _shaped(IR[NUMBER], word)), (WORD, NUMBER), plain=True)
_teach(word_of, lambda b, word: word, (WORD, WORD), plain=True)
_teach(choose, lambda b, *values: b.select(*values), (CONDITION, WHOLE, WHOLE, WHOLE),
       (CONDITION, NUMBER, NUMBER, NUMBER), (CONDITION,) * 4, plain=True)
_teach(opposite, lambda b, value: b.xor(value, ir.Constant(value.type, [1] * WIDTH) if isinstance(
    value.type, ir.VectorType) else ir.Constant(value.type, 1)), (CONDITION, CONDITION), plain=True)
_teach(anywhere, _any_lane, (CONDITION, CONDITION), plain=True, to_one=True)
_teach(most, _largest_lane, (NUMBER, NUMBER), plain=True, to_one=True)


# --- to and from arrays ---------------------------------------------------------------------------------------------


def _place(context: Any, builder: Any, kinds: Any, values: Any) -> Any:
    """Pointer to WIDTH numbers of an array of shape (rows, groups, WIDTH) at [row, group]."""
    array = context.make_array(kinds[0])(context, builder, values[0])
    zero = context.get_constant(types.intp, 0)
    place = cgutils.get_item_pointer(context, builder, kinds[0], array, [values[1], values[2], zero], wraparound=False)
    return builder.bitcast(place, ir.VectorType(IR[kinds[0].dtype], WIDTH).as_pointer())


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
