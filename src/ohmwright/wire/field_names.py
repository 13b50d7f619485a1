"""The fields that a message may name: what each stands for, and its unit, which ends its name."""

from __future__ import annotations

from typing import Literal, NamedTuple

FieldKind = Literal["number", "whole", "switch", "word"]


class FieldMeaning(NamedTuple):
    """What a field of a message stands for."""

    quantity: str
    """Its name in our own unit, such as `load_ohm` for `load_kohm`."""
    factor: float
    """What one unit of the field is in our own unit."""
    kind: FieldKind


_UNITS: dict[str, dict[str, float]] = {
    "ohm": {"ohm": 1.0, "kohm": 1e3, "mohm": 1e-3},
    "ma": {"ma": 1.0, "a": 1e3, "ua": 1e-3},
    "s": {"s": 1.0, "ms": 1e-3, "us": 1e-6},
    "w": {"w": 1.0, "kw": 1e3, "mw": 1e-3},
}
"""Our own unit of each quantity, and the units that a field may have instead."""
_MEASURED = {
    "load": "ohm",
    "contact": "ohm",
    "current": "ma",
    "power": "w",
    "limit": "s",
    "left": "s",
    "interval": "s",
    "setting": "w",
}
_PLAIN: dict[FieldKind, str] = {
    "whole": "number nonce counts presses code",
    "number": "ratio amps_per_count",
    "switch": "state service alarm",
    "word": "path mode point key direction identity text",
}
FIELDS: dict[str, FieldMeaning] = {
    f"{name}_{unit}": FieldMeaning(f"{name}_{own}", factor, "number")
    for name, own in _MEASURED.items()
    for unit, factor in _UNITS[own].items()
} | {
    name: FieldMeaning(name, 1.0, kind) for kind, names in _PLAIN.items() for name in names.split()
}
"""Every field that a message may name."""


def meaning_of(name: str) -> FieldMeaning:
    """What the field `name` stands for. Raises ValueError where there is no such field."""
    if name not in FIELDS:
        raise ValueError(f"'{{{name}}}' is no known field; known are {', '.join(sorted(FIELDS))}")
    return FIELDS[name]
