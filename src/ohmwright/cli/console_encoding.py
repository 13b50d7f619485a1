"""ASCII replacements for characters that the encoding of a console lacks."""

from __future__ import annotations

import codecs
import unicodedata
from typing import TextIO

ASCII_FALLBACK = "ohmwright.ascii_fallback"
_IN_ASCII = {
    **{"±": "+/-", "Ω": "ohm", "²": "^2", "µ": "u", "–": "-", "…": "...", "·": "*", "†": "*"},
    "≤": "<=",
}


def use_ascii_fallback(stream: TextIO) -> None:
    """Make `stream` replace characters that it cannot encode instead of raising an error."""
    codecs.register_error(ASCII_FALLBACK, _replacement)
    reconfigure = getattr(stream, "reconfigure", None)
    if reconfigure is not None:
        reconfigure(errors=ASCII_FALLBACK)


def _replacement(problem: UnicodeError) -> tuple[str, int]:
    """Return ASCII text for the characters that failed, and where encoding goes on (codecs)."""
    if not isinstance(problem, UnicodeEncodeError):
        raise problem
    lacking = problem.object[problem.start : problem.end]
    return "".join(map(_in_ascii, lacking)), problem.end


def _in_ascii(character: str) -> str:
    """Return a word for `character`, its letter without the accent, or its escaped code."""
    known = _IN_ASCII.get(character)
    if known is not None:
        return known
    bare = unicodedata.normalize("NFKD", character).encode("ascii", "ignore").decode()
    return bare or character.encode("ascii", "backslashreplace").decode()
