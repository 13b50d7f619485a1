"""Texts of data files as tables; what is no TOML is refused with line and column."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from .errors import SourceError
from .syntax_causes import SyntaxSlip, cause_of
from .text_limits import first_violation


def decoded(path: Path, text: str, error: type[SourceError]) -> dict[str, Any]:
    """The TOML `text` of the file `path` as a table. Raises `error` where it is none."""
    found = first_violation(text)
    if found is not None:
        raise error(
            f"{path}:{found.line}:{found.column}: {found.what}.",
            "No procedure, bench or data file needs that.",
            "Correct the file.",
        )
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as problem:  # of which TOMLDecodeError is one
        slip = _slip(str(problem), text)
        what = cause_of(slip, text) or slip.said
        raise error(
            f"{path}:{slip.line}:{slip.column}: this is not valid TOML: {what}.",
            do="Correct the file.",
        ) from None


def _slip(said: str, text: str) -> SyntaxSlip:
    """What the decoder said, and where; by its words for the end, after the last character."""
    place = re.search(r" \(at line (\d+), column (\d+)\)", said)
    if place is not None:
        return SyntaxSlip(said[: place.start()], int(place[1]), int(place[2]))
    *above, last = text.rstrip().split("\n")
    return SyntaxSlip(said.replace(" (at end of document)", ""), len(above) + 1, len(last) + 1)
