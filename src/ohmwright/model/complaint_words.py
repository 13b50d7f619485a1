"""Plain words for what is wrong with a value of a data file, and the name of its key."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Literal

from pydantic_core import ErrorDetails, PydanticCustomError

from .unknown_keys import LONGEST_KEY, shortened, suggestion

AT_KEY: Literal["at_key"] = "at_key"
_LONGEST = 500
_NUMBER, _WHOLE, _DATE = "a number", "a whole number", "a date, as in 2026-01-31"
_TABLE = "a table in braces, as in { key = value }"
_LIST = (
    'a list in brackets, as in [1, 2] or ["a", "b"]; where it is one of tables, the heading of '
    "each has two, as in [[step]]"
)
_WANTED = {
    "string_type": 'text in quotes, as in "text"',
    "float_type": _NUMBER,
    "float_parsing": _NUMBER,
    "int_type": _WHOLE,
    "int_parsing": _WHOLE,
    "int_from_float": _WHOLE,
    "bool_type": "true or false",
    "bool_parsing": "true or false",
    "date_type": _DATE,
    "date_parsing": _DATE,
    "date_from_datetime_parsing": _DATE,
    "date_from_datetime_inexact": _DATE,
    "path_type": "the name of a file",
    "tuple_type": _LIST,
    "list_type": _LIST,
    "dict_type": _TABLE,
    "model_type": _TABLE,
    "model_attributes_type": _TABLE,
}
"""What the file must have, by pydantic's name for the error."""
_PATTERNS = {
    r"^[a-z0-9][a-z0-9_.-]*$": "a name of small letters, digits and _ . - without spaces",
    r"^[A-Za-z0-9][A-Za-z0-9 _.-]{0,30}$": "31 or fewer letters, digits, spaces and _ . -",
    r"^[a-z][a-z0-9 _.-]{0,30}$": "31 or fewer small letters, digits, spaces and _ . -",
    r"^[a-z][a-z0-9_]{0,40}$": "a name of small letters, digits and _",
}
"""What a text must be, by the pattern of `step.Name`, `hardware.PanelName`, `quantity.Quantity`."""


def error_at(path: Sequence[str | int], what: str) -> PydanticCustomError:
    """Return the error that a validator raises to complain about the key at `path` below it."""
    return PydanticCustomError(AT_KEY, "{what}", {"what": what, "path": tuple(path)})


def words_of_error(detail: ErrorDetails) -> str:
    """Return what is wrong, as the rest of a sentence that begins with the name of the key."""
    kind, about = detail["type"], detail.get("ctx", {})
    if kind in _WANTED:
        return words_of_kind(kind)
    special = _SPECIAL.get(kind)
    what = detail["msg"].removeprefix("Value error, ") if special is None else special(about)
    what = what[:1].lower() + what[1:]
    return shortened(what.replace("input should be", "must be", 1), _LONGEST)


def words_of_kind(kind: str) -> str:
    """Return what a value must be, by pydantic's name for an error of `_WANTED`."""
    return f"must be {_WANTED[kind]}"


def in_python(words: str) -> str:
    """Return words of an error for who writes Python instead of TOML."""
    return words.replace(_TABLE, "a dict, as in {'key': value}").replace(_LIST, "a list")


def _unknown_tag(about: Mapping[str, Any]) -> str:
    known = about["expected_tags"].strip("'").split("', '")
    return suggestion(str(about["tag"]), known, noun=discriminator(about))


def _pattern(about: Mapping[str, Any]) -> str:
    pattern = about["pattern"]
    return f"must be {_PATTERNS.get(pattern, f'text of the form {pattern}')}"


def _too_short(about: Mapping[str, Any]) -> str:
    return f"must have {about['min_length']} or more entries"


def _too_long(about: Mapping[str, Any]) -> str:
    # of text that has been through a rule of ours, pydantic knows no type
    counted = "characters" if about["field_type"] == "Value" else "entries"
    return f"must have at most {about['max_length']} {counted}"


_SPECIAL: dict[str, Callable[[Mapping[str, Any]], str]] = {
    "union_tag_invalid": _unknown_tag,
    "string_pattern_mismatch": _pattern,
    "string_too_long": lambda about: f"must have at most {about['max_length']} characters",
    "too_short": _too_short,
    "too_long": _too_long,
}


def discriminator(about: Mapping[str, Any]) -> str:
    """Return the key by which a table says of which kind it is; `about`: of an error of its tag."""
    return str(about["discriminator"]).strip("'")


def key_name(data: Any, path: Sequence[str | int]) -> str:
    """Return the name of the key at `path` of the document `data`; empty for the document itself.

    An entry of a list goes by its own name, else by its number, counted from 1:
    `step 'cut', tolerance.percent`.
    """
    words = ""
    for part in path:
        if isinstance(part, int):
            words += f" {_entry(data[part], part)}, "
        else:
            words += f"{shortened(part, LONGEST_KEY)}."
        data = data[part]
        if isinstance(data, list):
            words = words.removesuffix(".")
    return words.rstrip("., ")


def _entry(entry: Any, index: int) -> str:
    name = entry.get("name") if isinstance(entry, dict) else None
    if isinstance(name, str) and name:
        return f"'{shortened(name, LONGEST_KEY)}'"
    return f"{index + 1}" if isinstance(entry, dict) else f"entry {index + 1}"
