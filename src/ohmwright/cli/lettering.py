"""What becomes of a character that a console's encoding lacks: a plainer one, or its code."""

from __future__ import annotations

import codecs
import unicodedata
from typing import TextIO

PLAINER = "ohmwright.plainer"
_IN_ASCII = {"±": "+/-", "Ω": "ohm", "²": "^2", "µ": "u", "–": "-", "…": "...", "·": "*", "≤": "<="}


def write_plainer(stream: TextIO) -> None:
    """Have `stream` write what it cannot show in plainer characters, and never fail at it."""
    codecs.register_error(PLAINER, _plainer)
    reconfigure = getattr(stream, "reconfigure", None)
    if reconfigure is not None:
        reconfigure(errors=PLAINER)


def _plainer(problem: UnicodeError) -> tuple[str, int]:
    if not isinstance(problem, UnicodeEncodeError):
        raise problem
    lacking = problem.object[problem.start : problem.end]
    return "".join(map(_in_ascii, lacking)), problem.end


def _in_ascii(character: str) -> str:
    """A word for it, its letter without the accent, or its code; always in ASCII."""
    known = _IN_ASCII.get(character)
    if known is not None:
        return known
    bare = unicodedata.normalize("NFKD", character).encode("ascii", "ignore").decode()
    return bare or character.encode("ascii", "backslashreplace").decode()
