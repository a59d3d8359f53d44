"""Expressions: the typed walk from a Python expression to a C one, value for value in the same order of operations."""
from __future__ import annotations

import ast
import math
import operator
from types import ModuleType
from typing import TYPE_CHECKING, Any

import numpy as np

from experiments.firmware.emit import terms
from experiments.firmware.emit.kinds import (
    COUNT,
    FLAG,
    LONG,
    REAL,
    WHOLE,
    WORD,
    Kind,
    Numbers,
    Struct,
    built,
    is_constant,
    safe,
)
from experiments.firmware.emit.source import MATH, Source, is_unrolled, plain_function
from experiments.firmware.emit.terms import CHOSEN, COMPARED, JOINED, PRIMITIVES, PRODUCT, SUM, UNARY, Term, as_real
from plant.numerics import integrate, vector

if TYPE_CHECKING:
    from experiments.firmware.emit.unit import Unit

ARITHMETIC = {ast.Add: ("+", SUM), ast.Sub: ("-", SUM), ast.Mult: ("*", PRODUCT), ast.Div: ("/", PRODUCT)}
BITWISE = {ast.BitAnd: "&", ast.BitOr: "|", ast.BitXor: "^", ast.LShift: "<<", ast.RShift: ">>"}
FOLDED: dict[Any, Any] = {  # of constant whole numbers, whose bits are asked for nowhere else
    ast.BitAnd: operator.and_, ast.BitOr: operator.or_, ast.BitXor: operator.xor, ast.LShift: operator.lshift,
    ast.RShift: operator.rshift}
COMPARE = {ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">=", ast.Eq: "==", ast.NotEq: "!="}


class Expressions:
    """Walks the expressions of one function; statements are the subclass's."""

    def __init__(self, unit: Unit, source: Source) -> None:
        self.unit, self.source = unit, source
        self.numbers: Numbers = unit.numbers
        self.locals: dict[str, Term] = {}
        self.blocks: list[list[str]] = [[]]
        self.taken: set[str] = set()

    def write(self, text: str) -> None:
        """Add a line to the block that is being written."""
        self.blocks[-1].append("    " * len(self.blocks) + text)

    def fresh(self, name: str) -> str:
        """A name that no other in this function has, and no function of the unit."""
        wanted, number = safe(name), 1
        while wanted in self.taken or self.unit.is_taken(wanted):
            number += 1
            wanted = f"{name}_{number}"
        self.taken.add(wanted)
        return wanted

    def placed(self, term: Term) -> str:
        """A pointer to a struct; what has no place yet gets one before this statement."""
        if term.place or term.pointer:
            return term.address()
        name = self.fresh(term.source or "part")
        self.write(f"const {terms.c_type(term.kind, self.numbers)} {name} = {term.text};")
        return f"&{name}"

    # --- leaves -------------------------------------------------------------------------------------------------

    def walk(self, node: ast.expr) -> Term:
        """The C of an expression. Raises Refusal for what is outside the subset."""
        method = getattr(self, f"on_{type(node).__name__}", None)
        if method is None:
            raise self.source.refuse(node, f"{type(node).__name__} cannot be emitted")
        found: Term = method(node)
        return found

    def on_Constant(self, node: ast.Constant) -> Term:
        """A literal."""
        if not is_constant(node.value):
            raise self.source.refuse(node, "only numbers can be emitted")
        return terms.constant(node.value, self.numbers)  # type: ignore[arg-type]

    def on_Name(self, node: ast.Name) -> Term:
        """A local, or a constant of the module."""
        if node.id in self.locals:
            return self.locals[node.id]
        value: Any = self.source.names.get(node.id)
        if is_constant(value):
            return self.unit.named_constant(self.source, node.id, value)
        raise self.source.refuse(node, "not a local and not a constant number")

    def on_Attribute(self, node: ast.Attribute) -> Term:
        """A field, or a constant of `math` or of a constant tuple."""
        value = self.global_value(node)
        if value is not None:
            return self.unit.named_constant(self.source, ast.unparse(node).replace(".", "_"), value)
        owner = self.walk(node.value)
        if isinstance(owner.kind, Struct):
            for name, kind in owner.kind.fields:
                if name == node.attr:
                    self.unit.note_read(owner.kind, name)
                    return owner.field(name, kind, safe(name))
        raise self.source.refuse(node, "no such field")

    def on_Subscript(self, node: ast.Subscript) -> Term:
        """One number of a row, by a constant."""
        row, place = self.walk(node.value), self.walk(node.slice)
        fields = row.kind.fields if isinstance(row.kind, Struct) and row.kind.name.startswith("Row") else ()
        if isinstance(place.literal, int) and -len(fields) <= place.literal < len(fields):
            name, kind = fields[place.literal]
            return row.field(name, kind, name)
        raise self.source.refuse(node, "only rows of numbers have places, given by constants")

    def global_value(self, node: ast.Attribute) -> Any:
        """The number behind a dotted name that starts at a global, or None."""
        parts: list[str] = []
        inner: ast.expr = node
        while isinstance(inner, ast.Attribute):
            parts.insert(0, inner.attr)
            inner = inner.value
        if not isinstance(inner, ast.Name) or inner.id in self.locals:
            return None
        value = self.source.names.get(inner.id)
        if value is math and parts[0] in MATH:
            return MATH[parts[0]]
        for part in parts:
            value = getattr(value, part, None)
        return value if is_constant(value) else None

    # --- operations -----------------------------------------------------------------------------------------------

    def both(self, node: ast.AST, first: Term, second: Term) -> tuple[Term, Term]:
        """Two operands of one kind: a whole number beside a real one is real."""
        for wanted, others in ((REAL, (WHOLE, COUNT)), (LONG, (WHOLE,)), (COUNT, (WHOLE,))):
            if any({first.kind, second.kind} == {wanted, other} for other in others):
                first, second = (terms.as_kind(term, wanted, self.numbers) for term in (first, second))
        if first.kind != second.kind:
            raise self.source.refuse(node, "its operands are of different kinds")
        return first, second

    def on_BinOp(self, node: ast.BinOp) -> Term:
        """Arithmetic on numbers, logic on conditions, bits on words."""
        if isinstance(node.op, ast.Pow):
            return self.power(node)
        first, second = self.walk(node.left), self.walk(node.right)
        kinds = {first.kind, second.kind}
        if type(node.op) in BITWISE:
            symbol = BITWISE[type(node.op)]
            if kinds == {FLAG} and symbol in "&|":
                again = isinstance(node.left, ast.BinOp) and type(node.left.op) is type(node.op)
                left = first.tight(JOINED if again else UNARY)
                return Term(f"{left} {2 * symbol} {second.tight()}", FLAG, JOINED)
            if kinds == {WHOLE} and first.literal is not None and second.literal is not None:
                return terms.constant(FOLDED[type(node.op)](first.literal, second.literal), self.numbers)
            if symbol == ">>" and first.kind == LONG and second.kind == WHOLE:
                return Term(f"{self.unit.helper('shifted_down')}({first.text}, {second.text})", LONG)
            if kinds == {WORD}:
                return Term(f"{first.tight()} {symbol} {second.tight()}", WORD, JOINED)
            raise self.source.refuse(node, "bit operations are for conditions and words")
        if type(node.op) not in ARITHMETIC:
            raise self.source.refuse(node, "this operation cannot be emitted")
        symbol, loose = ARITHMETIC[type(node.op)]
        first, second = self.both(node, first, second)
        if first.kind not in (REAL, WHOLE, LONG, COUNT, WORD) or (symbol == "/" and first.kind != REAL):
            raise self.source.refuse(node, "arithmetic is for numbers, division for real ones")
        # left to right, as Python does it; another operation gets parentheses for whoever reads
        again = isinstance(node.left, ast.BinOp) and type(node.left.op) in ARITHMETIC and first.loose == loose
        return Term(f"{first.tight(loose if again else UNARY)} {symbol} {second.tight()}", first.kind, loose)

    def power(self, node: ast.BinOp) -> Term:
        """A constant power, or two to a whole number of 0 … 63."""
        base, exponent = self.walk(node.left), self.walk(node.right)
        if base.literal is not None and exponent.literal is not None:
            return terms.constant(float(base.literal) ** exponent.literal, self.numbers)
        if base.literal == 2 and exponent.kind == WHOLE:
            return Term(f"ldexp{self.numbers.suffix}({self.numbers.literal(1.0)}, {exponent.text})", REAL)
        raise self.source.refuse(node, "only powers of two by a whole number can be emitted")

    def on_UnaryOp(self, node: ast.UnaryOp) -> Term:
        """A sign, or `not`."""
        term = self.walk(node.operand)
        if isinstance(node.op, ast.USub) and term.kind in (REAL, WHOLE, LONG):
            if term.literal is not None and not term.source:
                return terms.constant(-term.literal, self.numbers)
            return Term(f"-{term.tight(terms.ATOM)}", term.kind, UNARY)
        if isinstance(node.op, ast.Not) and term.kind == FLAG:
            return Term(f"!{term.tight(terms.ATOM)}", FLAG, UNARY)
        raise self.source.refuse(node, "this sign cannot be emitted")

    def on_BoolOp(self, node: ast.BoolOp) -> Term:
        """and, or: their operands have no effects, so evaluating early or late is the same."""
        symbol = "&&" if isinstance(node.op, ast.And) else "||"
        found = [self.walk(value) for value in node.values]
        if any(term.kind != FLAG for term in found):
            raise self.source.refuse(node, "and, or are for conditions")
        return Term(f" {symbol} ".join(term.tight() for term in found), FLAG, JOINED)

    def on_Compare(self, node: ast.Compare) -> Term:
        """One comparison."""
        if len(node.ops) != 1 or type(node.ops[0]) not in COMPARE:
            raise self.source.refuse(node, "only single comparisons of numbers can be emitted")
        first, second = self.both(node, self.walk(node.left), self.walk(node.comparators[0]))
        if isinstance(first.kind, Struct):
            raise self.source.refuse(node, "tuples cannot be compared")
        return Term(f"{first.tight()} {COMPARE[type(node.ops[0])]} {second.tight()}", FLAG, COMPARED)

    def on_IfExp(self, node: ast.IfExp) -> Term:
        """One of two values."""
        return self.choice(node, [self.walk(part) for part in (node.test, node.body, node.orelse)])

    def choice(self, node: ast.AST, args: list[Term]) -> Term:
        """One of two values, numbers or whole structs."""
        condition, yes, no = args
        yes, no = self.both(node, yes, no)
        if condition.kind != FLAG:
            raise self.source.refuse(node, "a choice needs a condition")
        text = f"{condition.tight()} ? {yes.value() if yes.loose == 0 else yes.tight()} : " \
               f"{no.value() if no.loose == 0 else no.tight()}"
        return Term(text, yes.kind, CHOSEN)

    # --- calls ----------------------------------------------------------------------------------------------------

    def on_Call(self, node: ast.Call) -> Term:
        """A primitive, a NamedTuple that is built, or another function."""
        found = self.called(node.func)
        if isinstance(found, type) and hasattr(found, "_fields"):
            return self.construct(node, found, self.arguments(node, list(found._fields)))
        if node.keywords:
            args = self.arguments(node, self.unit.parameters(self.source, node, found))
        else:
            args = [self.walk(arg) for arg in node.args]
        if found in (min, max):
            return self.extreme(node, "least" if found is min else "greatest", args)
        if found in (vector.choose, integrate.selected) and len(args) == 3:
            return self.choice(node, args)
        if found in (float, int, abs, np.uint64):
            return self.converted(node, found, args[0])
        if isinstance(found, type(math.sqrt)) or found in PRIMITIVES:
            return self.primitive(node, found, args)
        return self.own_call(node, found, args)

    def called(self, node: ast.expr) -> Any:
        """The object that is called."""
        if isinstance(node, ast.Name) and node.id not in self.locals:
            names = self.source.names
            if node.id in names:
                return names[node.id]
            builtin = {"min": min, "max": max, "abs": abs, "int": int, "float": float}.get(node.id)
            if builtin is not None:
                return builtin
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            module = self.source.names.get(node.value.id)
            if isinstance(module, ModuleType):
                return getattr(module, node.attr, None)
        raise self.source.refuse(node, "it is not known what this calls")

    def arguments(self, node: ast.Call, names: list[str]) -> list[Term]:
        """Arguments in order, by place and by name; all of them must be there."""
        given = dict(zip(names, node.args, strict=False)) | {str(k.arg): k.value for k in node.keywords}
        if len(node.args) > len(names) or sorted(given) != sorted(names):
            raise self.source.refuse(node, f"needs all of {', '.join(names)}")
        return [self.walk(given[name]) for name in names]

    def construct(self, node: ast.Call, source: type, args: list[Term]) -> Term:
        """A struct as a compound literal."""
        kind = self.unit.struct(built(source, [arg.kind for arg in args]), self.source, node)
        parts = []
        for (name, wanted), arg in zip(kind.fields, args, strict=True):
            term = terms.as_kind(arg, wanted, self.numbers)
            parts.append(f".{safe(name)} = {term.value()}")
        return Term(f"({kind.name}){{{', '.join(parts)}}}", kind, source=kind.name[:1].lower() + kind.name[1:])

    def extreme(self, node: ast.Call, name: str, args: list[Term]) -> Term:
        """min or max, as Numba has it: the first stays unless a later one is truly beyond it."""
        result = args[0]
        for other in args[1:]:
            first, second = self.both(node, result, other)
            if first.kind not in (REAL, WHOLE, LONG):
                raise self.source.refuse(node, "min, max are for numbers")
            ending = {WHOLE: "_whole", LONG: "_long"}.get(first.kind, "")
            function = self.unit.helper(f"{name}{ending}")
            result = Term(f"{function}({first.text}, {second.text})", first.kind)
        return result

    def converted(self, node: ast.Call, function: Any, term: Term) -> Term:
        """float(…), int(…), abs(…), np.uint64(…)."""
        if function is abs and term.kind == REAL:
            return Term(f"fabs{self.numbers.suffix}({term.text})", REAL)
        if function is float and term.kind in (REAL, WHOLE, LONG, COUNT):
            return term if term.kind == REAL else as_real(term, self.numbers)
        if function is int and term.kind in (REAL, WHOLE):
            return term if term.kind == WHOLE else Term(f"(int32_t){term.tight()}", WHOLE, UNARY)
        if function is np.uint64 and term.kind in (WHOLE, LONG):
            if term.literal is not None and term.literal >= 0:
                return Term(f"UINT64_C({term.literal})", WORD)
            return Term(f"(uint64_t){term.tight()}", WORD, UNARY)
        raise self.source.refuse(node, "this conversion cannot be emitted")

    def primitive(self, node: ast.Call, function: Any, args: list[Term]) -> Term:
        """What the C library or one operator does with the same bits."""
        if function not in PRIMITIVES:
            raise self.source.refuse(node, "not one of the library's functions that are exact everywhere")
        if function in terms.DOUBLE_ONLY and self.numbers.name != "double":
            raise self.source.refuse(node, "looks into the bits of a double: single precision has none")
        kinds, build = PRIMITIVES[function]
        args = [as_real(arg, self.numbers) if want == REAL and arg.kind == WHOLE else arg
                for arg, want in zip(args, kinds, strict=True)]
        if tuple(arg.kind for arg in args) != kinds:
            raise self.source.refuse(node, "its arguments are of other kinds")
        term = build(self.numbers, args)
        for helper in terms.HELPERS:
            if term.text.startswith(f"{helper}("):
                self.unit.helper(helper)
        return term

    def own_call(self, node: ast.Call, found: Any, args: list[Term]) -> Term:
        """Another function of the source, emitted for these kinds."""
        kinds: list[Kind] = [arg.kind for arg in args]
        function = found if is_unrolled(found) else plain_function(found, kinds)
        if function is None:
            raise self.source.refuse(node, "not a compiled function")
        callee = self.unit.function(function, kinds, self.source, node)
        parts = [self.placed(arg) if isinstance(arg.kind, Struct)
                 else terms.as_kind(arg, want, self.numbers).text
                 for arg, want in zip(args, callee.kinds, strict=True)]
        return Term(f"{callee.name}({', '.join(parts)})", callee.result, source=callee.name)
