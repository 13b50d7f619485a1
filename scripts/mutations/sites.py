"""Places in a source file where one token can be changed so that the arithmetic is another."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

_BETWEEN: dict[type[ast.cmpop | ast.operator | ast.boolop], tuple[str, str]] = {
    ast.Lt: ("<", ">="),
    ast.LtE: ("<=", ">"),
    ast.Gt: (">", "<="),
    ast.GtE: (">=", "<"),
    ast.Eq: ("==", "!="),
    ast.NotEq: ("!=", "=="),
    ast.Add: ("+", "-"),
    ast.Sub: ("-", "+"),
    ast.Mult: ("*", "/"),
    ast.Div: ("/", "*"),
    ast.Pow: ("**", "*"),
    ast.BitAnd: ("&", "|"),
    ast.And: ("and", "or"),
    ast.Or: ("or", "and"),
}
"""What stands between two operands, and what takes its place."""
_CALLED = {
    "min": "max",
    "max": "min",
    "minimum": "maximum",
    "maximum": "minimum",
    "argmax": "argmin",
    "sqrt": "fabs",
    "exp": "fabs",
    "log": "fabs",
    "log1p": "fabs",
    "sum": "max",
    "mean": "max",
    "median": "max",
}
"""Functions, of a module or methods, and what is called in their place."""
_BARE = {"min": "max", "max": "min", "abs": "float", "sqrt": "float", "hypot": "max"}
"""Functions that are called by their bare name."""


@dataclass(frozen=True)
class Change:
    """One change of one file: `before` at `line` and `column` (from 0) becomes `after`."""

    path: str
    line: int
    column: int
    before: str
    after: str

    def __str__(self) -> str:
        return f"{self.path}:{self.line + 1}:{self.column + 1} {self.before} -> {self.after}"

    def applied(self, text: str) -> str:
        """The text of the file with the change. Raises ValueError where it does not fit."""
        lines = text.splitlines(keepends=True)
        line = lines[self.line]
        end = self.column + len(self.before)
        if line[self.column : end] != self.before:
            raise ValueError(f"{self} does not fit: {line.strip()}")
        lines[self.line] = line[: self.column] + self.after + line[end:]
        return "".join(lines)


def changes(root: Path, path: str) -> list[Change]:
    """Every change of `path` (relative to `root`) that can be drawn, in the order of the file."""
    text = (root / path).read_text("utf-8")
    lines = text.splitlines()
    found = {
        Change(path, *place) for node in _nodes(ast.parse(text)) for place in _places(node, lines)
    }
    return sorted(found, key=lambda change: (change.line, change.column))


def _nodes(node: ast.AST) -> Iterator[ast.AST]:
    """The node and all below it, but for what is formatted into words."""
    if not isinstance(node, ast.JoinedStr):
        yield node
        for child in ast.iter_child_nodes(node):
            yield from _nodes(child)


_Place = tuple[int, int, str, str]


def _places(node: ast.AST, lines: list[str]) -> Iterator[_Place]:
    """Line, column, token and what takes its place, for each change of `node` itself."""
    match node:
        case ast.Compare(left=left, ops=[op], comparators=[right]):
            yield from _between(left, right, op, lines)
        case ast.BoolOp(op=op, values=[left, right]):
            yield from _between(left, right, op, lines)
        case ast.BinOp(left=left, op=op, right=right):
            yield from _between(left, right, op, lines)
            yield from _whole_numbers(left, right)
        case ast.Call(func=ast.Name(id=name) as function) if name in _BARE:
            yield function.lineno - 1, function.col_offset, name, _BARE[name]
        case ast.Call(func=ast.Attribute(attr=name, end_col_offset=int(end)) as function):
            if name in _CALLED and function.end_lineno is not None:
                yield function.end_lineno - 1, end - len(name), name, _CALLED[name]
        case ast.Constant(value=float() as number) if number != 0.0:
            before = lines[node.lineno - 1][node.col_offset : node.end_col_offset]
            yield node.lineno - 1, node.col_offset, before, repr(float(f"{1.5 * number:.6g}"))
        case ast.UnaryOp(op=ast.USub(), operand=operand) if not isinstance(operand, ast.Constant):
            yield node.lineno - 1, node.col_offset, "-", "+"


def _between(
    left: ast.expr, right: ast.expr, op: ast.cmpop | ast.operator | ast.boolop, lines: list[str]
) -> Iterator[_Place]:
    """The operator between two operands that stand on one line; none where they do not."""
    if type(op) not in _BETWEEN or left.end_lineno != right.lineno:
        return
    token, after = _BETWEEN[type(op)]
    begin = left.end_col_offset or 0
    gap = lines[right.lineno - 1][begin : right.col_offset]
    if gap.strip(" ()") == token:
        yield right.lineno - 1, begin + gap.index(token), token, after


def _whole_numbers(*operands: ast.expr) -> Iterator[_Place]:
    """Whole numbers that enter arithmetic; those that count or index do not."""
    for operand in operands:
        match operand:
            case ast.Constant(value=int() as number) if not isinstance(number, bool):
                yield operand.lineno - 1, operand.col_offset, str(number), str(number + 1)
