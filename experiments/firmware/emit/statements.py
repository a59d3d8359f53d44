"""Statements: assignments, branches, bounded loops and returns of one function."""
from __future__ import annotations

import ast
import re
from typing import Any

from experiments.firmware.emit import terms
from experiments.firmware.emit.expressions import Expressions
from experiments.firmware.emit.kinds import COUNT, FLAG, LONG, REAL, WHOLE, WHOLES, Kind, Struct, safe
from experiments.firmware.emit.terms import Term, as_real, plain


def assigned(node: ast.AST) -> list[str]:
    """Every name that statements below a node assign, once for each time; what is in a loop counts twice."""
    found: list[str] = []
    for inner in ast.iter_child_nodes(node):
        below = assigned(inner)
        if isinstance(inner, ast.Name) and isinstance(inner.ctx, ast.Store):
            found.append(inner.id)
        found += below * (2 if isinstance(inner, ast.For) else 1)
    return found


def snake(name: str) -> str:
    """A class's name as that of a value: FirmwareState as firmware_state."""
    return re.sub(r"(?<=[a-z])(?=[A-Z])", "_", name).lower()


class Statements(Expressions):
    """Walks the body of one function."""

    result: Kind | None = None
    hoisted: list[str]
    returned: list[str]

    def body(self) -> None:
        """Emit every statement of the function."""
        self.hoisted = []
        self.returned = [n for r in ast.walk(self.source.tree) if isinstance(r, ast.Return) and r.value is not None
                         for n in self.parts_named(r.value)]
        counts = assigned(self.source.tree)
        branches = [node for node in ast.walk(self.source.tree) if isinstance(node, ast.If)]
        branched = {name for node in branches for name in assigned(node)} & self.locals.keys()
        self.changing = {name for name in counts if counts.count(name) > 1} | branched
        for name in sorted(self.changing & self.locals.keys()):
            given = self.locals[name]
            if given.pointer:  # a parameter that changes: what it points to is the caller's
                copy = self.fresh(name)
                self.write(f"{terms.c_type(given.kind, self.numbers)} {copy} = *{given.text};")
                self.locals[name] = Term(copy, given.kind, place=True, source=name)
        self.statements(self.source.tree.body)

    def parts_named(self, node: ast.expr) -> list[str]:
        """What the values of a return are called, for the fields of its struct."""
        if not isinstance(node, ast.Tuple):
            return []
        return [part.id if isinstance(part, ast.Name) else part.attr if isinstance(part, ast.Attribute)
                else snake(part.func.id) if isinstance(part, ast.Call) and isinstance(part.func, ast.Name) else "value"
                for part in node.elts]

    def statements(self, body: list[ast.stmt]) -> None:
        """A block."""
        for node in body:
            method = getattr(self, f"do_{type(node).__name__}", None)
            if method is None:
                raise self.source.refuse(node, f"{type(node).__name__} cannot be emitted")
            for remark in self.remarks_before(node.lineno):
                self.write(f"/* {plain(remark)} */")
            method(node)

    def remarks_before(self, line: int) -> list[str]:
        """The comments of the source that stand right before a line."""
        first = line
        while first - 1 in self.source.remarks:
            first -= 1
        return [self.source.remarks[k] for k in range(first, line)]

    def do_Expr(self, node: ast.Expr) -> None:
        """Only docstrings."""
        if not isinstance(node.value, ast.Constant) or not isinstance(node.value.value, str):
            raise self.source.refuse(node, "a statement without a value cannot be emitted")

    def do_Pass(self, node: ast.Pass) -> None:
        """Nothing."""

    # --- assignments ----------------------------------------------------------------------------------------------

    def do_AnnAssign(self, node: ast.AnnAssign) -> None:
        """An assignment with a type for the reader."""
        if node.value is None:
            raise self.source.refuse(node, "a declaration without a value cannot be emitted")
        self.assign(node, node.target, self.walk(node.value))

    def do_AugAssign(self, node: ast.AugAssign) -> None:
        """x += y is x = x + y."""
        if not isinstance(node.target, ast.Name):
            raise self.source.refuse(node, "only names can be assigned")
        load = ast.copy_location(ast.Name(node.target.id, ast.Load()), node)
        whole = ast.copy_location(ast.BinOp(load, node.op, node.value), node)
        self.assign(node, node.target, self.walk(whole))

    def do_Assign(self, node: ast.Assign) -> None:
        """Names from a value, several from several, or several from a call that returns several."""
        if len(node.targets) != 1:
            raise self.source.refuse(node, "one assignment at a time")
        target = node.targets[0]
        if not isinstance(target, ast.Tuple):
            self.assign(node, target, self.walk(node.value))
        elif isinstance(node.value, ast.Tuple):
            self.assign_many(node, target.elts, node.value.elts)
        else:
            self.unpack(node, target.elts, self.walk(node.value))

    def assign_many(self, node: ast.stmt, targets: list[ast.expr], values: list[ast.expr]) -> None:
        """a, b = x, y: all values are worked out before any name changes."""
        if len(targets) != len(values):
            raise self.source.refuse(node, "as many names as values")
        names = [getattr(target, "id", "") for target in targets]
        read = [{n.id for n in ast.walk(value) if isinstance(n, ast.Name)} for value in values]
        tangled = any(names[i] in self.locals and names[i] in read[j]
                      for i in range(len(names)) for j in range(i + 1, len(names)))
        if not tangled:
            for target, value in zip(targets, values, strict=True):
                self.assign(node, target, self.walk(value))
            return
        kept = []
        for name, value in zip(names, values, strict=True):
            term, new = self.walk(value), self.fresh(f"next_{name}")
            self.write(f"const {terms.c_type(term.kind, self.numbers)} {new} = {term.value()};")
            kept.append(Term(new, term.kind, place=True))
        for target, term in zip(targets, kept, strict=True):
            self.assign(node, target, term)

    def unpack(self, node: ast.stmt, targets: list[ast.expr], term: Term) -> None:
        """Names from the fields of a struct."""
        if not isinstance(term.kind, Struct) or len(term.kind.fields) != len(targets):
            raise self.source.refuse(node, "as many names as values")
        if not (term.place or term.pointer):
            name = self.fresh(f"{term.source}_found")
            self.write(f"const {term.kind.name} {name} = {term.text};")
            term = Term(name, term.kind, place=True)
        fields = term.kind.fields if isinstance(term.kind, Struct) else ()
        for target, (field, kind) in zip(targets, fields, strict=True):
            if not (isinstance(target, ast.Name) and target.id.startswith("_")):
                self.assign(node, target, term.field(field, kind, safe(field)))

    def assign(self, node: ast.stmt, target: ast.expr, term: Term) -> None:
        """One name from one value."""
        if not isinstance(target, ast.Name):
            raise self.source.refuse(node, "only names can be assigned")
        name, kind = target.id, term.kind
        before = self.locals.get(name)
        if before is not None and name in self.changing:
            if kind == WHOLE and before.kind in (REAL, LONG, COUNT):
                term = terms.as_kind(term, before.kind, self.numbers)
            elif before.kind != kind:
                raise self.source.refuse(node, "a name keeps its kind")
            if not before.pointer:
                self.write(f"{before.text} = {term.value()};")
                return
        new, c_type = self.fresh(name), terms.c_type(kind, self.numbers)
        root = re.match(r"\w+", term.text)
        steady = root is not None and not any(
            local.text == root.group() for key, local in self.locals.items() if key in self.changing)
        if name in self.changing:
            self.hoisted.append(f"{c_type} {new};") if len(self.blocks) > 1 else None
            self.write(f"{'' if len(self.blocks) > 1 else c_type + ' '}{new} = {term.value()};")
            self.locals[name] = Term(new, kind, place=True, source=name)
        elif isinstance(kind, Struct) and (term.place or term.pointer) and steady:
            self.write(f"const {c_type} *const {new} = {term.address()};")
            self.locals[name] = Term(new, kind, pointer=True, source=name)
        else:
            self.write(f"const {c_type} {new} = {term.value()};")
            self.locals[name] = Term(new, kind, place=True, source=name)

    # --- branches and loops -----------------------------------------------------------------------------------------

    def block(self, body: list[ast.stmt]) -> None:
        """A block of its own, whose names end with it unless they were there before or change in several places."""
        self.blocks.append([])
        self.statements(body)
        lines = self.blocks.pop()
        self.blocks[-1] += lines

    def do_If(self, node: ast.If) -> None:
        """A branch."""
        test = self.walk(node.test)
        if test.kind != FLAG:
            raise self.source.refuse(node, "a branch needs a condition")
        self.write(f"if ({test.text}) {{")
        self.block(node.body)
        if node.orelse:
            self.write("} else {")
            self.block(node.orelse)
        self.write("}")

    def do_For(self, node: ast.For) -> None:
        """A counted loop, or one over the fields of a NamedTuple, written out."""
        if node.orelse or not isinstance(node.target, ast.Name):
            raise self.source.refuse(node, "only plain loops can be emitted")
        call = node.iter
        if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id == "range":
            self.counted(node, node.target.id, [self.walk(arg) for arg in call.args])
            return
        whole = self.walk(call)
        if not isinstance(whole.kind, Struct):
            raise self.source.refuse(node, "loops are over range(…) or the fields of a NamedTuple")
        for field, kind in whole.kind.fields:
            self.unit.note_read(whole.kind, field)
            self.write("{")
            self.locals[node.target.id] = whole.field(field, kind, safe(field))
            self.block(node.body)
            self.write("}")
        del self.locals[node.target.id]

    def counted(self, node: ast.For, name: str, bounds: list[Term]) -> None:
        """for i in range(…): its bound is worked out once."""
        if len(bounds) not in (1, 2) or any(bound.kind != WHOLE for bound in bounds):
            raise self.source.refuse(node, "range(end) or range(start, end) of whole numbers")
        start = bounds[0].text if len(bounds) == 2 else "0"
        end = self.fresh(f"{name}_end")
        self.write(f"const int32_t {end} = {bounds[-1].text};")
        counter = self.fresh(name)
        self.write(f"for (int32_t {counter} = {start}; {counter} < {end}; {counter}++) {{")
        self.locals[name] = Term(counter, WHOLE, place=True, source=name)
        self.block(node.body)
        self.write("}")
        del self.locals[name]

    # --- return -----------------------------------------------------------------------------------------------------

    def do_Return(self, node: ast.Return) -> None:
        """A value, or several as a struct."""
        if node.value is None:
            raise self.source.refuse(node, "a return needs a value")
        if isinstance(node.value, ast.Tuple):
            term = self.several(node, [self.walk(part) for part in node.value.elts])
        else:
            term = self.walk(node.value)
            declared = WHOLES.get(getattr(self.source.tree.returns, "id", ""))
            term = terms.as_kind(term, declared, self.numbers) if declared and term.kind == WHOLE else term
        if self.result is None:
            self.result = term.kind
        if self.result == REAL and term.kind == WHOLE:
            term = as_real(term, self.numbers)
        if self.result != term.kind:
            raise self.source.refuse(node, "all returns must be of one kind")
        self.write(f"return {term.value()};")

    def several(self, node: ast.stmt, parts: list[Term]) -> Term:
        """Several values as one struct."""
        names: list[str] = []
        for wanted in self.returned[:len(parts)]:
            number = 1 + sum(re.sub(r"_\d+$", "", name) == wanted for name in names)
            names.append(wanted if number == 1 else f"{wanted}_{number}")
        fields: list[Any] = [(name, part.kind) for name, part in zip(names, parts, strict=True)]
        label = f"{self.source.name}_answer"
        if isinstance(self.result, Struct):
            kind = self.result
        else:
            kind = self.unit.struct(Struct(label, tuple(fields)), self.source, node)
        texts = []
        for (name, kept), part in zip(kind.fields, parts, strict=True):
            held = terms.as_kind(part, kept, self.numbers)
            texts.append(f".{safe(name)} = {held.value()}")
        return Term(f"({kind.name}){{{', '.join(texts)}}}", kind)
