"""Values of a data file that validation took for another form: a number in quotes, `true` for 1.

pydantic reads `"60"` and `true` as numbers, and files that are kept in records may have them. Its
strict form would refuse lists and names of files, too; so what was read is held against the file.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date
from typing import Any

from pydantic import BaseModel

from .complaint_words import words_of_kind
from .positions import Path


def misread_values(written: Any, read: Any) -> Iterator[tuple[Path, str]]:
    """Yield place and complaint of each value of the document `written` that has another form.

    `read`: what validation made of it. A date may stand in quotes.
    """
    for key, part, part_read in _parts(written, read):
        for path, what in misread_values(part, part_read):
            yield (key, *path), what
    wanted = _wanted(written, read)
    if wanted is not None:
        yield (), words_of_kind(wanted)


def _parts(written: Any, read: Any) -> Iterable[tuple[str | int, Any, Any]]:
    """The parts of a table or list that were read as such, by key or number."""
    match written, read:
        case dict(), BaseModel():
            return [(key, part, getattr(read, key, None)) for key, part in written.items()]
        case dict(), dict():
            return [(key, part, read.get(key)) for key, part in written.items()]
        case list(), list() | tuple() if len(written) == len(read):
            return [(n, part, read[n]) for n, part in enumerate(written)]
    return ()


def _wanted(written: Any, read: Any) -> str | None:
    """What should stand there, by pydantic's name for the error; None where it does."""
    match read, written:
        case bool(), bool():
            return None
        case bool(), str() | int() | float():
            return "bool_type"
        case int(), str() | bool():
            return "int_type"
        case float(), str() | bool():
            return "float_type"
        case date(), int() | float():
            return "date_type"
    return None
