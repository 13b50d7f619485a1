"""Quantities of results, and their units.

A quantity carries its unit at the end of its name (`current_ma`, `power_w`), so that whoever shows
a result finds the unit without knowing what measured it; one without such an end has no unit.
"""

from __future__ import annotations

from typing import Annotated, NamedTuple

from pydantic import Field

Quantity = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,40}$")]


class MeasurementUnit(NamedTuple):
    """A unit as it is written: in plain text, and in the D-SI form of a digital certificate."""

    symbol: str
    d_si: str


DIMENSIONLESS = MeasurementUnit("", r"\one")
UNITS = {
    "ma": MeasurementUnit("mA", r"\milli\ampere"),
    "ua": MeasurementUnit("uA", r"\micro\ampere"),
    "w": MeasurementUnit("W", r"\watt"),
    "ohm": MeasurementUnit("ohm", r"\ohm"),
    "megohm": MeasurementUnit("Mohm", r"\mega\ohm"),
    "v": MeasurementUnit("V", r"\volt"),
    "us": MeasurementUnit("us", r"\micro\second"),
    "ms": MeasurementUnit("ms", r"\milli\second"),
    "s": MeasurementUnit("s", r"\second"),
    "khz": MeasurementUnit("kHz", r"\kilo\hertz"),
    "percent": MeasurementUnit("%", r"\percent"),
}
"""By the last word of a quantity's name."""


def unit_of(quantity: str) -> MeasurementUnit:
    """The unit that the name of a quantity ends with; `DIMENSIONLESS` where it ends with none."""
    return UNITS.get(quantity.rpartition("_")[2], DIMENSIONLESS)
