"""Unknown keys of a data file, each with the valid ones of its table.

pydantic's own complaint about a key names no valid one. A validator that does would run for each
model that a run makes, so the valid keys are looked up once a file has been refused.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from typing import Any

from pydantic import BaseModel

_INSIDE = {"list": "items_schema", "tuple": "items_schema", "dict": "values_schema"}
"""Where pydantic's description of a type has that of its parts; else under `schema`."""
LONGEST_KEY = 60


def valid_keys(noun: type[BaseModel], loc: Sequence[str | int]) -> list[str]:
    """The valid keys of the table at `loc`, as an error of validating `noun` names it, sorted.

    Empty where none can be named, as in a union that no key tells apart.
    """
    schema: Any = noun.__pydantic_core_schema__
    definitions = {part["ref"]: part for part in schema.get("definitions", ())}
    for part in loc:
        schema = _part_of(_bare(schema, definitions), part)
    return sorted(_bare(schema, definitions).get("fields", ()))


def _bare(schema: Any, definitions: Mapping[str, Any]) -> Any:
    """The description of a table, a list or a union, without the validators around it."""
    while schema is not None and "fields" not in schema:
        if schema["type"] == "definition-ref":
            schema = definitions[schema["schema_ref"]]
        elif "schema" in schema:
            schema = schema["schema"]
        else:
            break
    return schema or {}


def _part_of(schema: Any, part: str | int) -> Any:
    """The description of the part of a table, list or union that an error's place names."""
    if "fields" in schema:
        return schema["fields"].get(part)
    if schema.get("type") == "tagged-union":
        return schema["choices"].get(part)
    inside = schema.get(_INSIDE.get(schema.get("type", ""), ""))
    return inside[0] if isinstance(inside, list) else inside


def suggestion(key: str, known: Sequence[str], noun: str = "key") -> str:
    """The complaint about an unknown `key`, with the nearest of the `known` ones or all of them.

    `noun`: what it is, where it is not a key.
    """
    near = get_close_matches(key, known, n=1, cutoff=0.5) if len(key) <= LONGEST_KEY else []
    named = f"unknown {noun} '{shortened(key, LONGEST_KEY)}'"
    if near:
        return f"{named}; the nearest valid {noun} is '{near[0]}'"
    return f"{named}; valid {noun}s are {', '.join(known)}" if known else named


def shortened(text: str, length: int) -> str:
    """`text`, cut to `length` characters and marked with an ellipsis where it is longer."""
    return text if len(text) <= length else f"{text[:length]}…"
