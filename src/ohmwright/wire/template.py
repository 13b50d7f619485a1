"""Message templates of a command set: literal text with named fields, nothing that runs."""

from __future__ import annotations

import re
from math import floor, isfinite
from numbers import Real
from string import Formatter
from typing import TypeVar

from ohmwright.model.errors import SourceError

V = TypeVar("V", bound=str)

_SAMPLES: dict[str, float | int | str] = {
    "contact_ohm": 1.0,
    "counts": 1,
    "direction": "UP",
    "key": "FINE",
    "limit_s": 1,
    "load_ohm": 1.0,
    "mode": "x",
    "nonce": 1,
    "path": "OUTPut",
    "point": "x",
    "presses": 1,
    "setting_w": 1.0,
}
"""Every field a message may name, with a value of its kind."""
_FIELDS: dict[str, frozenset[str]] = {
    "resynchronise": frozenset({"nonce"}),
    "set_load": frozenset({"load_ohm"}),
    "set_path": frozenset({"path"}),
    "set_contact": frozenset({"contact_ohm"}),
    "set_ceiling": frozenset({"limit_s"}),
    "on": frozenset({"limit_s"}),
    "select_mode": frozenset({"mode"}),
    "set_power": frozenset({"setting_w"}),
    "set_point": frozenset({"point"}),
    "set_trim": frozenset({"counts"}),
    "press_key": frozenset({"key", "direction", "presses"}),
}
"""The fields that the message of each verb must have; only `on` may do without."""
_SPEC = re.compile(r"(\.\d{1,2})?[dfeg]?")
_PRINTABLE = re.compile(r"[ -~]+")
_NAME = re.compile(r"[\w .+/%()-]+", re.ASCII)


def checked_template(text: str) -> str:
    """`text`; raises ValueError where braces hold more than a known field and a format."""
    if _PRINTABLE.fullmatch(text) is None:
        raise ValueError(f"{text!r} has characters outside printable ASCII")
    try:
        parts = list(Formatter().parse(text))
    except ValueError as problem:
        raise ValueError(f"'{text}' has braces that do not match: {problem}") from None
    for _, field, spec, conversion in parts:
        if field is None:
            continue
        if field not in _SAMPLES:
            known = ", ".join(sorted(_SAMPLES))
            raise ValueError(f"'{{{field}}}' is no known field; known are {known}")
        if conversion or _SPEC.fullmatch(spec or "") is None:
            raise ValueError(f"'{{{field}}}' may have a format like '.3f' or 'd' and nothing else")
    _try_formats(text)
    return text


def _try_formats(text: str) -> None:
    try:
        text.format(**_SAMPLES)
    except ValueError as problem:
        raise ValueError(f"'{text}' has a format that its value cannot take: {problem}") from None


def fields_of(text: str) -> frozenset[str]:
    """The names of the fields in a template."""
    return frozenset(field for _, field, _, _ in Formatter().parse(text) if field is not None)


def rounded_down(text: str, field: str, value: float) -> float:
    """The largest number not above `value` that `field` can carry in the template `text`."""
    spec = next(spec or "" for _, name, spec, _ in Formatter().parse(text) if name == field)
    if spec.endswith("d"):
        return floor(value)
    less, sent = 0.0, float(format(value, spec))
    while sent > value:  # format rounds to the nearest
        less = 2 * less or sent - value
        sent = float(format(value - less, spec))
    return sent


def check_message_fields(messages: dict[V, str]) -> dict[V, str]:
    """`messages`; raises ValueError where one has a field too many or lacks one of its verb."""
    for verb, text in messages.items():
        found, due = fields_of(text), _FIELDS.get(verb, frozenset())
        if found - due:
            raise ValueError(f"'{verb}' has no field '{min(found - due)}'")
        if due - found and verb != "on":
            raise ValueError(f"'{verb}' must hold '{{{min(due - found)}}}'")
    return messages


def check_field_value(field: str, value: object) -> None:
    """Raise SourceError for a number that is not finite, or a name that could end its message."""
    if isinstance(value, str):
        if _NAME.fullmatch(value) is not None:
            return
    elif isinstance(value, Real) and isfinite(value):
        return
    raise SourceError(
        f"{value!r} cannot be sent as {field}.",
        "Numbers must be finite; names are of ASCII letters, digits, spaces and _ . + - / % ( ).",
        "Correct the name or number in the data file.",
    )
