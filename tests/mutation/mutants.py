"""Mutants of a Python source: one small change of meaning each, found in its syntax tree, made in its text.

Left alone are annotations (a part's declared unit and bounds among them), defaults of declared parameters, decorators,
docstrings, f-strings and what is raised: no law says what they must be.
"""
from __future__ import annotations

import ast
import hashlib
from collections.abc import Iterator
from typing import NamedTuple

ARITHMETIC: dict[type, tuple[str, str]] = {
    ast.Add: ("+", "-"), ast.Sub: ("-", "+"), ast.Mult: ("*", "/"), ast.Div: ("/", "*"), ast.Pow: ("**", "*"),
    ast.FloorDiv: ("//", "/"), ast.Mod: ("%", "*"),
}
COMPARISONS: dict[type, tuple[str, tuple[str, ...]]] = {
    ast.Lt: ("<", ("<=", ">=")), ast.LtE: ("<=", ("<", ">")), ast.Gt: (">", (">=", "<=")),
    ast.GtE: (">=", (">", "<")), ast.Eq: ("==", ("!=",)), ast.NotEq: ("!=", ("==",)), ast.Is: ("is", ("is not",)),
    ast.IsNot: ("is not", ("is",)), ast.In: ("in", ("not in",)), ast.NotIn: ("not in", ("in",)),
}
NAMES = {"min": "max", "max": "min", "sin": "cos", "cos": "sin", "minimum": "maximum", "maximum": "minimum"}
NOT_INTERPRETED = {"overload", "intrinsic"}  # what these decorate is only seen by the compiler


class Mutant(NamedTuple):
    """One change: characters `start` … `end` of the source of `file` become `after`."""

    file: str
    line: int
    kind: str
    start: int
    end: int
    before: str
    after: str
    compiler_only: bool

    def of(self, source: str) -> str:
        """The changed source."""
        return source[: self.start] + self.after + source[self.end :]

    def key(self, source: str) -> str:
        """Names this change of this source."""
        return hashlib.sha256(f"{self.file}\n{self.of(source)}".encode()).hexdigest()[:20]

    def __str__(self) -> str:
        return f"{self.file}:{self.line} {self.kind}: {self.before} → {self.after}"


def constant(value: object) -> str | None:
    """Another constant: a whole number becomes the next, a real one its double, zero becomes one, yes becomes no."""
    if isinstance(value, bool):
        return str(not value)
    if isinstance(value, int):
        return str(value + 1)
    if isinstance(value, float):
        return repr(2.0 * value if value else 1.0)
    return None


def mutants(file: str, source: str) -> list[Mutant]:
    """Every mutant of a source, in the order of the text."""
    return sorted(_Finder(file, source).find(), key=lambda m: (m.start, m.end, m.after))


class _Finder:
    def __init__(self, file: str, source: str) -> None:
        self.file, self.source, self.tree = file, source, ast.parse(source)
        self.lines = source.splitlines(keepends=True)
        self.begins = [0]
        for line in self.lines:
            self.begins.append(self.begins[-1] + len(line))

    def at(self, line: int, column: int) -> int:
        """Character of a syntax tree's position, whose column counts bytes."""
        return self.begins[line - 1] + len(self.lines[line - 1].encode()[:column].decode())

    def span(self, node: ast.expr) -> tuple[int, int]:
        assert node.end_lineno is not None and node.end_col_offset is not None
        return self.at(node.lineno, node.col_offset), self.at(node.end_lineno, node.end_col_offset)

    def text(self, node: ast.expr) -> str:
        start, end = self.span(node)
        return self.source[start:end]

    def find(self) -> Iterator[Mutant]:
        yield from self.walk(self.tree, False)

    def walk(self, node: ast.AST, compiler_only: bool) -> Iterator[Mutant]:
        if isinstance(node, ast.FunctionDef):
            names = {n.id for d in node.decorator_list for n in ast.walk(d) if isinstance(n, ast.Name)}
            compiler_only = compiler_only or bool(names & NOT_INTERPRETED)
        for start, end, kind, after in self.here(node):
            line = self.source.count("\n", 0, start) + 1
            yield Mutant(self.file, line, kind, start, end, self.source[start:end], after, compiler_only)
        for child in self.below(node):
            yield from self.walk(child, compiler_only)

    def below(self, node: ast.AST) -> list[ast.AST]:
        """What is looked into: not annotations, decorators, texts, nor the declared fields of a class."""
        if isinstance(node, ast.FunctionDef):
            return [*node.body, *node.args.defaults, *(d for d in node.args.kw_defaults if d is not None)]
        if isinstance(node, ast.ClassDef):
            return [child for child in node.body if isinstance(child, ast.FunctionDef)]
        if isinstance(node, ast.AnnAssign):
            return [node.value] if node.value else []
        if isinstance(node, ast.JoinedStr | ast.Raise | ast.Assert | ast.Import | ast.ImportFrom):
            return []
        return list(ast.iter_child_nodes(node))

    def between(self, left: ast.expr, right: ast.expr, sign: str) -> tuple[int, int] | None:
        """Where the operator stands between two operands, comments aside."""
        start, end = self.span(left)[1], self.span(right)[0]
        found = self.source.find(sign, start, end)
        clear = found >= 0 and "#" not in self.source[start:found]
        return (found, found + len(sign)) if clear else None

    def here(self, node: ast.AST) -> Iterator[tuple[int, int, str, str]]:
        if isinstance(node, ast.BinOp) and type(node.op) in ARITHMETIC:
            sign, other = ARITHMETIC[type(node.op)]
            if place := self.between(node.left, node.right, sign):
                yield *place, "arithmetic", other
        elif isinstance(node, ast.AugAssign) and type(node.op) in ARITHMETIC:
            sign, other = ARITHMETIC[type(node.op)]
            if place := self.between(node.target, node.value, f"{sign}="):
                yield *place, "arithmetic", f"{other}="
        elif isinstance(node, ast.Compare):
            yield from self.comparison(node)
        elif isinstance(node, ast.BoolOp):
            sign, other = ("and", "or") if isinstance(node.op, ast.And) else ("or", "and")
            for left, right in zip(node.values, node.values[1:], strict=False):
                if place := self.between(left, right, sign):
                    yield *place, "boolean", other
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub):
            kind = "boolean" if isinstance(node.op, ast.Not) else "sign"
            yield *self.span(node), kind, f"({self.text(node.operand)})"
        elif isinstance(node, ast.Constant) and (other_value := constant(node.value)) is not None:
            yield *self.span(node), "constant", other_value
        elif isinstance(node, ast.Call):
            yield from self.call(node)
        elif isinstance(node, ast.Return) and node.value is not None and self.text(node.value) != "None":
            yield *self.span(node.value), "return", "None"
        if isinstance(node, ast.If | ast.While | ast.IfExp) and not isinstance(node.test, ast.Compare | ast.Constant):
            yield *self.span(node.test), "condition", f"(not ({self.text(node.test)}))"

    def comparison(self, node: ast.Compare) -> Iterator[tuple[int, int, str, str]]:
        left = node.left
        for operator, right in zip(node.ops, node.comparators, strict=True):
            sign, others = COMPARISONS[type(operator)]
            if place := self.between(left, right, sign):
                for other in others:
                    yield *place, "comparison", other
            left = right

    def call(self, node: ast.Call) -> Iterator[tuple[int, int, str, str]]:
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if name in NAMES:
            end = self.span(node.func)[1]
            yield end - len(name), end, "function", NAMES[name]
