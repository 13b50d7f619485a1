"""Quantities of results, and their units.

A quantity carries its unit at the end of its name (`current_ma`, `power_w`), so that whoever shows
a result finds the unit without knowing what measured it; one without such an end has no unit.
"""

from __future__ import annotations

from typing import Annotated, NamedTuple

from pydantic import Field

Quantity = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,40}$")]


class Unit(NamedTuple):
    """A unit as it is written: in plain text, and in the D-SI form of a digital certificate."""

    symbol: str
    d_si: str


DIMENSIONLESS = Unit("", r"\one")
UNITS = {
    "ma": Unit("mA", r"\milli\ampere"),
    "w": Unit("W", r"\watt"),
    "ohm": Unit("ohm", r"\ohm"),
    "v": Unit("V", r"\volt"),
    "us": Unit("us", r"\micro\second"),
    "ms": Unit("ms", r"\milli\second"),
    "s": Unit("s", r"\second"),
    "khz": Unit("kHz", r"\kilo\hertz"),
    "percent": Unit("%", r"\percent"),
}
"""By the last word of a quantity's name."""


def unit_of(quantity: str) -> Unit:
    """The unit that the name of a quantity ends with; `DIMENSIONLESS` where it ends with none."""
    return UNITS.get(quantity.rpartition("_")[2], DIMENSIONLESS)
