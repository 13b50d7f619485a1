"""What a result rests on: the analyzer's own calibration, and the room it was taken in."""

from __future__ import annotations

from datetime import date

from pydantic import Field

from .base import FrozenModel


class Traceability(FrozenModel):
    """The analyzer's calibration, as far as a certificate must name it."""

    certificate: str
    """The number of the analyzer's certificate."""
    laboratory: str
    calibrated_on: date
    due_on: date
    expired: bool = False
    """Whether it was past `due_on`, and someone chose to go on."""


class Environment(FrozenModel):
    """The room, where someone has read it."""

    temperature_c: float | None = Field(default=None, ge=-10, le=60)
    humidity_percent: float | None = Field(default=None, ge=0, le=100)
