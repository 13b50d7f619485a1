"""Places in a source file where one token can be changed so that the arithmetic is another."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

_COMPARISONS: dict[type[ast.cmpop], str] = {ast.Lt: ">=", ast.LtE: ">", ast.Gt: "<=", ast.GtE: "<"}
_OPERATORS: dict[type[ast.operator], str] = {
    ast.Add: "-",
    ast.Sub: "+",
    ast.Mult: "/",
    ast.Div: "*",
}
_CALLS = {"min": "max", "max": "min", "sqrt": "float", "hypot": "max", "abs": "float", "exp": "abs"}
_LOGIC: dict[type[ast.boolop], str] = {ast.And: "or", ast.Or: "and"}


@dataclass(frozen=True)
class Change:
    """One change of one file: `before` at `line` and `column` (0-based) becomes `after`."""

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


def changes(root: Path, path: str) -> Iterator[Change]:
    """Every change of `path` (relative to `root`) that is tried, in the order of the file."""
    text = (root / path).read_text("utf-8")
    lines = text.splitlines()
    for node in ast.walk(ast.parse(text)):
        for line, column, before, after in _of(node, lines):
            yield Change(path, line, column, before, after)


def _of(node: ast.AST, lines: list[str]) -> Iterator[tuple[int, int, str, str]]:
    match node:
        case ast.Compare(left=left, ops=[op], comparators=[right]) if type(op) in _COMPARISONS:
            yield from _between(left, right, ("<=", ">=", "<", ">"), _COMPARISONS[type(op)], lines)
        case ast.BinOp(left=left, op=op, right=right) if type(op) in _OPERATORS:
            yield from _between(left, right, ("+", "-", "*", "/"), _OPERATORS[type(op)], lines)
        case ast.BoolOp(op=logic, values=[left, right]):
            yield from _between(left, right, ("and", "or"), _LOGIC[type(logic)], lines)
        case ast.Call(func=ast.Name(id=name) as function) if name in _CALLS:
            yield function.lineno - 1, function.col_offset, name, _CALLS[name]
        case ast.Constant(value=float() as number) if number != 0.0:
            before = ast.get_source_segment("\n".join(lines), node) or ""
            yield node.lineno - 1, node.col_offset, before, f"{1.5 * number:g}".ljust(1)


def _between(
    left: ast.expr, right: ast.expr, tokens: tuple[str, ...], after: str, lines: list[str]
) -> Iterator[tuple[int, int, str, str]]:
    """The operator between two operands that stand on one line; none where they do not."""
    if left.end_lineno != right.lineno or left.end_col_offset is None:
        return
    begin, end = left.end_col_offset, right.col_offset
    gap = lines[right.lineno - 1].encode()[begin:end].decode()
    for token in tokens:
        if gap.strip(" ()") == token:
            column = len(lines[right.lineno - 1].encode()[:begin].decode()) + gap.index(token)
            yield right.lineno - 1, column, token, after
            return
