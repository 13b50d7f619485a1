"""The line and column of each key of a TOML text, both counted from 1."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from functools import cache

import tree_sitter_toml
from tree_sitter import Language, Node, Parser

Path = tuple[str | int, ...]
Position = tuple[int, int]

_KEYS = ("bare_key", "quoted_key", "dotted_key")


@cache
def _parser() -> Parser:
    return Parser(Language(tree_sitter_toml.language()))


def key_positions(text: str) -> dict[Path, Position]:
    """The line and column of every key and array element of `text`, by path.

    A path is what a decoded document is indexed with: `("step", 0, "load_ohm")`.
    Tables opened more than once keep their first position.
    """
    found: dict[Path, Position] = {(): (1, 1)}
    array_lengths: dict[Path, int] = {}
    for node in _parser().parse(text.encode()).root_node.named_children:
        if node.type == "pair":
            _note_pair(node, (), found)
        elif node.type in ("table", "table_array_element"):
            _note_table(node, found, array_lengths)
    return found if text.isascii() else _in_characters(found, text)


def _in_characters(found: dict[Path, Position], text: str) -> dict[Path, Position]:
    """The positions `found` with columns counted in characters; tree-sitter counts bytes."""
    lines = [b"", *text.encode().split(b"\n")]
    counted = dict[Position, int]()
    line = done = characters = 0
    for place in sorted(set(found.values())):
        if place[0] != line:
            line, done, characters = place[0], 0, 0
        characters += len(lines[line][done : place[1] - 1].decode())
        done = place[1] - 1
        counted[place] = characters + 1
    return {path: (place[0], counted[place]) for path, place in found.items()}


def _note_table(node: Node, found: dict[Path, Position], array_lengths: dict[Path, int]) -> None:
    header, *body = [child for child in node.named_children if child.type != "comment"]
    base: Path = ()
    parts = list(_parts(header))
    for depth, part in enumerate(parts, start=1):
        base = (*base, part)
        found.setdefault(base, _place(header))
        if depth == len(parts) and node.type == "table_array_element":
            array_lengths[base] = array_lengths.get(base, 0) + 1
        if base in array_lengths:
            base = (*base, array_lengths[base] - 1)
            found.setdefault(base, _place(header))
    for pair in body:
        _note_pair(pair, base, found)


def _note_pair(node: Node, base: Path, found: dict[Path, Position]) -> None:
    children = [child for child in node.named_children if child.type != "comment"]
    if node.type != "pair" or len(children) != 2:
        return  # a syntax error, which tomllib has reported already
    key, value = children
    for part in _parts(key):
        base = (*base, part)
        found.setdefault(base, _place(key))
    _note_value(value, base, found)


def _note_value(node: Node, base: Path, found: dict[Path, Position]) -> None:
    if node.type == "inline_table":
        for pair in node.named_children:
            _note_pair(pair, base, found)
    elif node.type == "array":
        elements = [child for child in node.named_children if child.type != "comment"]
        for index, element in enumerate(elements):
            found[(*base, index)] = _place(element)
            _note_value(element, (*base, index), found)


def _parts(key: Node) -> Iterator[str]:
    if key.type == "dotted_key":
        for child in key.named_children:
            if child.type in _KEYS:
                yield from _parts(child)
    else:
        raw = (key.text or b"").decode()
        # tomllib is the one judge of what a quoted key spells
        yield next(iter(tomllib.loads(f"{raw} = 0"))) if key.type == "quoted_key" else raw


def _place(node: Node) -> Position:
    return node.start_point[0] + 1, node.start_point[1] + 1
