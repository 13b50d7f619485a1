"""The likely cause of a slip in TOML, in plain words; the decoder tells its own state instead."""

from __future__ import annotations

import re
import unicodedata
from typing import NamedTuple

from .unknown_keys import LONGEST_KEY, shortened

_KEY = re.compile(r"""\s*([\w-]+|"[^"]*"|'[^']*')\s*=""")
_CURLY = "“”„‟‘’‚‛«»‹›"
_SECOND = re.compile(r"Cannot declare \((.+)\) twice")
_SECOND_IN_BRACES = re.compile(r"Duplicate inline table key ('.*')")
_LINE_ENDS = r"\s*(?:#.*)?$"
_MINUS = "a minus is the sign -, as in -40"
_AT_VALUE = {
    re.compile(r"[−–—]"): _MINUS,
    re.compile(r"$"): "a value is missing",
    re.compile(r"(?i:true|false)\b"): "true and false are written in small letters",
    re.compile(r"\.\d"): "a number has a digit before its point, as in 0.5",
    re.compile(r"[^\W\d]"): 'text stands in quotes, as in "text"',
}
"""What is wrong with what begins where a value should."""
_NO_UNIT = "a number is written without its unit"
_IN_LINE = {
    re.compile(r"=\s*\d{1,4}[./]\d{1,2}[./]\d{2,4}\b"): "a date is written as in 2026-01-31",
    re.compile(r"=\s*[-+]?\d+,\d+"): "a number has a point, as in 40.5",
    re.compile(rf"=\s*[-+]?\d[\d.]*\s*[^\W\d]+{_LINE_ENDS}"): _NO_UNIT,
    re.compile(rf"=\s*[-+]?\d[\d.]*\s*%{_LINE_ENDS}"): _NO_UNIT,
    re.compile(r"=\s*[-+]?\d+\s*[−–—]"): _MINUS,
    re.compile(r"=\s*[-+]?\d+\s+\d"): "a number is written without spaces, as in 1000",
    re.compile(r"=\s*[-+]?0\d"): "a number has no zeros in front, as in 40",
    re.compile(r"""\s*[\w-]+\s*:"""): "a key and its value are joined by =, as in key = 40",
}
"""What is wrong with a line that goes on where it should end, or has no = after a key."""


_CLOSING = {"Unclosed inline table": "}", "Unclosed array": "]"}


class SyntaxSlip(NamedTuple):
    """What the decoder said, and the line and column of it, both counted from 1."""

    said: str
    line: int
    column: int


def cause_of(slip: SyntaxSlip, text: str) -> str | None:
    """Return what is probably wrong at a slip in `text`; None where nothing better is known."""
    lines = text.split("\n")
    line = lines[slip.line - 1]
    here = line[slip.column - 1 :]
    if slip.said.startswith("Illegal character '\\n'"):
        return "a text in this line has no closing quote"
    if slip.said.startswith(("Unescaped '\\'", "Invalid hex value")):
        return "a backslash stands twice in a text, as in C:\\\\bench; a path may have / instead"
    if here and not here[0].isprintable() and here[0] != "\t":
        return _unseen(here[0])
    if here and here[0] in _CURLY:
        return 'quotes are straight, as in "text"'
    if slip.said.startswith("Invalid value"):
        return next((words for form, words in _AT_VALUE.items() if form.match(here)), None)
    if slip.said.startswith("Expected"):
        return next((words for form, words in _IN_LINE.items() if form.search(line)), None)
    if slip.said in _CLOSING:
        return _unclosed(_CLOSING[slip.said], line[: slip.column - 1], here)
    return _named_twice(slip, lines)


def _unseen(char: str) -> str:
    """Say which character stands there that cannot be seen, or is taken for a space."""
    code = f"U+{ord(char):04X}"
    name = unicodedata.name(char, "").lower()
    if unicodedata.category(char) == "Zs":
        return f"a special space stands here ({code}, {name}), as pasted text has; type a plain one"
    if unicodedata.category(char) == "Cf":
        return f"a character that is not seen stands here ({code}, {name}); delete it"
    return f"the character {code} is not allowed"


def _unclosed(bracket: str, before: str, here: str) -> str | None:
    """Say why a list or a table in braces does not go on where `here` begins; None at its end."""
    if re.search(r"\d\s*$", before) and re.match(r"[^\W\d]+\s*(?:[],}]|$)|%", here):
        return _NO_UNIT
    return f"a comma or {bracket} is missing here" if here.strip() else None


def _named_twice(slip: SyntaxSlip, lines: list[str]) -> str | None:
    """Return which key or table stands twice; None where that is not what is wrong."""
    if (found := _SECOND_IN_BRACES.match(slip.said)) is not None:
        return f"the key {shortened(found[1], LONGEST_KEY)} stands twice in its braces"
    if (found := _SECOND.match(slip.said)) is not None:
        table = shortened(".".join(re.findall(r"'([^']*)'", found[1])), LONGEST_KEY)
        first = _first_heading(slip.line, table, lines)
        several = f"where several are meant, as of steps, each is [[{table}]]"
        return f"the table [{table}] stands twice{first}; {several}"
    if not slip.said.startswith("Cannot overwrite"):
        return None
    if (header := re.match(r"\s*\[\[(.+)\]\]", lines[slip.line - 1])) is not None:
        table = shortened(header[1], LONGEST_KEY)
        return f"[[{table}]] follows a [{table}]; each needs both pairs of brackets"
    return _second_key(slip.line, lines)


def _first_heading(line: int, table: str, lines: list[str]) -> str:
    """Return in words the line above `line` that begins `table`; empty where none is seen to."""
    heading = re.compile(rf"\s*\[\s*{re.escape(table)}\s*\]")
    return next(
        (f", first in line {n + 1}" for n in range(line - 1) if heading.match(lines[n])), ""
    )


def _second_key(line: int, lines: list[str]) -> str | None:
    """Return the name of the key that ends in `line`, with the line that has it before."""
    above = [number for number in range(1, line + 1) if lines[number - 1].lstrip()[:1] == "["]
    table = range(above[-1] + 1 if above else 1, line + 1)
    keys = [
        (number, found[1].strip("'\""))
        for number in table
        if (found := _KEY.match(lines[number - 1])) is not None
    ]
    if not keys:
        return None
    (_, key), before = keys[-1], keys[:-1]
    first = next((f", first in line {n}" for n, name in before if name == key), "")
    return f"the key '{shortened(key, LONGEST_KEY)}' stands twice in its table{first}"
