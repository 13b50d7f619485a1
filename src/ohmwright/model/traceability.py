"""The analyzer's calibration and the room's climate, as results and records name them."""

from __future__ import annotations

from datetime import date

from pydantic import Field

from .base import FrozenModel


class Traceability(FrozenModel):
    """The analyzer's calibration certificate, by what a certificate of ours must name."""

    certificate: str
    """The number of the analyzer's certificate."""
    laboratory: str
    calibrated_on: date
    due_on: date
    expired: bool = False
    """Whether it was past `due_on`, and someone chose to go on."""


class Environment(FrozenModel):
    """Temperature in degrees Celsius and relative humidity in percent of the room, where read."""

    temperature_c: float | None = Field(default=None, ge=-10, le=60)
    humidity_percent: float | None = Field(default=None, ge=0, le=100)
