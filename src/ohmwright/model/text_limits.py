"""Limits on the text of data files: bytes, nesting and length of words.

They are checked before the text is decoded, since decoders handle such texts badly: one level of
nesting may cost one level of the interpreter's stack, a long number or key the square of its
length.
"""

from __future__ import annotations

import re
from typing import NamedTuple

LARGEST_BYTES = 250_000
DEEPEST = 20

_TOKENS = re.compile(
    r"""
    (?P<skipped> \#[^\n]*+
      | \"{3} (?> (?: [^"\\] | \\. | "(?!"") )* ) "{3,5}
      | '{3} (?> (?: [^'] | '(?!'') )* ) '{3,5}
      | " (?> (?: [^"\\\n] | \\[^\n] )* ) "
      | ' [^'\n]*+ ' )
    | (?P<opened> [\[{] )
    | (?P<closed> [\]}] )
    | (?P<dotted> \. )
    | (?P<ended> [=,\n] )
    | (?P<long> [\w+-]{401,} )
    """,
    re.VERBOSE | re.DOTALL,
)


class LimitViolation(NamedTuple):
    """What exceeds a limit, and its line and column, both counted from 1."""

    line: int
    column: int
    what: str


def first_violation(text: str) -> LimitViolation | None:
    """The first place in a TOML text that exceeds a limit; None where none does."""
    depth = dots = 0
    for token in _TOKENS.finditer(text):
        match token.lastgroup:
            case "opened":
                depth, dots = depth + 1, 0
            case "closed":
                depth, dots = max(0, depth - 1), 0
            case "dotted":
                dots += 1
            case "ended":
                dots = 0
            case "long":
                count = len(token[0])
                return _at(text, token.start(), f"a number or name of {count:,} characters")
        if depth > DEEPEST or dots >= DEEPEST:
            return _at(text, token.start(), f"nested more than {DEEPEST} levels deep")
    return None


def _at(text: str, index: int, what: str) -> LimitViolation:
    line = text.count("\n", 0, index) + 1
    return LimitViolation(line, index - text.rfind("\n", 0, index), what)
