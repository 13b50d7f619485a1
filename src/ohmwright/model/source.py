"""Reading a TOML file into a noun, with every complaint placed by line and column."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from .errors import SourceError
from .positions import Path as KeyPath
from .positions import Position, key_positions

M = TypeVar("M", bound=BaseModel)


def load(
    path: Path, noun: type[M], *, table: str | None = None, error: type[SourceError] = SourceError
) -> M:
    """Read `path` and validate it (or one top-level `table` of it) as `noun`.

    Raises `error` (a SourceError) naming file, line, column and the nearest valid key.
    """
    return parse(path, read_text(path, error), noun, table=table, error=error)


def parse(
    path: Path,
    text: str,
    noun: type[M],
    *,
    table: str | None = None,
    error: type[SourceError] = SourceError,
) -> M:
    """Validate `text`, which was read from `path`, as `load` does."""
    data = _decode(path, text, error)
    try:
        return noun.model_validate(data if table is None else _table(path, data, table, error))
    except ValidationError as problem:
        complaints = _complaints(problem, data, text, () if table is None else (table,))
        lines = [f"{path}:{line}:{column}: {what}" for (line, column), what in complaints]
        raise error("\n".join(lines), do="Correct the file and try again.") from None


def read_text(path: Path, error: type[SourceError] = SourceError) -> str:
    """The text of `path`, or `error` saying why it cannot be read."""
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise error(f"{path}: there is no such file.", do="Check the name and folder.") from None
    except (OSError, UnicodeDecodeError) as problem:
        raise error(f"{path}: cannot be read as UTF-8 text: {problem}.") from None


def _decode(path: Path, text: str, error: type[SourceError]) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        what = str(problem)
        place = re.search(r" \(at line (\d+), column (\d+)\)", what)
        line, column = place.groups() if place else (len(text.splitlines()) or 1, 1)
        what = what[: place.start()] if place else what.replace(" (at end of document)", "")
        raise error(
            f"{path}:{line}:{column}: this is not valid TOML: {what}.", do="Correct the file."
        ) from None


def _table(path: Path, data: dict[str, Any], table: str, error: type[SourceError]) -> Any:
    if table not in data:
        raise error(f"{path}:1:1: the table [{table}] is missing.", do="Add it.")
    return data[table]


def _complaints(
    problem: ValidationError, data: Any, text: str, prefix: KeyPath
) -> list[tuple[Position, str]]:
    places = key_positions(text)
    found = []
    details = problem.errors()
    for detail in details:
        if any(_is_inside(other["loc"], detail["loc"]) for other in details):
            continue  # an echo of what is wrong further in
        loc: KeyPath = (*prefix, *detail["loc"])
        for key, what in _each(detail):
            path = _document_path(data, (*loc, *key))
            found.append((_nearest_place(places, path), _say(what, path, loc)))
    return sorted(set(found))


def _is_inside(inner: KeyPath, outer: KeyPath) -> bool:
    return len(inner) > len(outer) and inner[: len(outer)] == outer


def _each(detail: ErrorDetails) -> Iterator[tuple[KeyPath, str]]:
    """One complaint a key: a table's unknown keys come as one error."""
    if detail["type"] == "unknown_keys":
        for key, what in detail["ctx"]["unknown"].items():
            yield (key,), what
    else:
        yield (), detail["msg"]


def _document_path(data: Any, loc: Sequence[str | int]) -> KeyPath:
    """Drop from `loc` what names a union's branch and not a key of the document."""
    path: KeyPath = ()
    for part in loc:
        try:
            data = data[part]
        except (KeyError, IndexError, TypeError):
            continue
        path = (*path, part)
    return path


def _nearest_place(places: dict[KeyPath, Position], path: KeyPath) -> Position:
    while path not in places:
        path = path[:-1]
    return places[path]


def _say(message: str, path: KeyPath, loc: KeyPath) -> str:
    what = message.removeprefix("Value error, ")
    if what == "Field required":
        return f"the key '{loc[-1]}' is missing here."
    name = ".".join(str(part) for part in path) or "the file"
    return f"{name}: {what[:1].lower()}{what[1:]}."
