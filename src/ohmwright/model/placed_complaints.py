"""What is wrong with a document that does not fit its model: each complaint with its place."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial
from typing import Any, NamedTuple

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from .complaint_words import AT_KEY, discriminator, key_name, words_of_error
from .positions import Path as KeyPath
from .positions import Position, key_positions
from .unknown_keys import suggestion, valid_keys

MOST = 20
"""Nobody reads more complaints at once, and the first may be the cause of the others."""


class Detail(NamedTuple):
    """What is wrong at one place."""

    loc: KeyPath
    say: Callable[[], str]


def details_of(problem: ValidationError, noun: type[BaseModel]) -> list[Detail]:
    """Everything that is wrong; of a table with unknown keys, these alone."""
    details = problem.errors(include_url=False, include_input=False)
    unknown = [detail["loc"] for detail in details if detail["type"] == "extra_forbidden"]
    known = {table: valid_keys(noun, table) for table in {loc[:-1] for loc in unknown}}
    outer = {loc[:end] for loc in (detail["loc"] for detail in details) for end in range(len(loc))}
    plain = [
        _plain(detail)
        for detail in details
        if (loc := detail["loc"]) not in outer  # else an echo of what is wrong further in
        and not any(loc[:end] in known for end in range(len(loc)))
    ]
    named = (
        Detail(loc, partial(suggestion, str(loc[-1]), known[loc[:-1]]))
        for loc in unknown
        if not any(loc[:end] in known for end in range(len(loc) - 1))
    )
    return [*plain, *named]


def placed_complaints(
    details: Iterable[Detail], data: Any, text: str, prefix: KeyPath
) -> list[tuple[Position, str]]:
    """The first complaints in the order of the file, each with its line and column."""
    places = key_positions(text)
    found = list[tuple[Position, KeyPath, Detail]]()
    for detail in details:
        path = _document_path(data, (*prefix, *detail.loc))
        found.append((nearest_place(places, path), path, detail))
    found.sort(key=lambda one: one[0])
    shown = dict.fromkeys(
        (place, _say(data, path, detail.say())) for place, path, detail in found[:MOST]
    )
    return sorted(shown)


def _plain(detail: ErrorDetails) -> Detail:
    """What is wrong with a value, in plain words, and where."""
    loc, about = detail["loc"], detail.get("ctx", {})
    match detail["type"]:
        case kind if kind == AT_KEY:
            return Detail((*loc, *about["path"]), partial(str, about["what"]))
        case "missing":
            return Detail(loc, partial(_missing, loc[-1]))
        case "union_tag_not_found":
            return Detail(loc, partial(_missing, discriminator(about)))
        case "union_tag_invalid":
            return Detail((*loc, discriminator(about)), partial(words_of_error, detail))
        case _:
            return Detail(loc, partial(words_of_error, detail))


def _missing(key: str | int) -> str:
    return f"the key '{key}' is missing here"


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


def nearest_place(places: dict[KeyPath, Position], path: KeyPath) -> Position:
    """The place of a key, or of the nearest table around it that has one."""
    while path not in places:
        path = path[:-1]
    return places[path]


def _say(data: Any, path: KeyPath, what: str) -> str:
    name = key_name(data, path)
    return f"{name}: {what}." if name else f"{what}."
