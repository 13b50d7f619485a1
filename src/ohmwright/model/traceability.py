"""The analyzer's calibration and the room's climate, as results and records name them."""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import Field

from .base import FrozenModel

NO_SERIAL = "no serial number in it; the bench file says it is this analyzer's"


class Traceability(FrozenModel):
    """The analyzer's calibration certificate, by what a certificate of ours must name."""

    certificate: str
    """The number of the analyzer's certificate."""
    serial: str | None = None
    """The serial number that it names; empty where it names none, None in records that do not
    say."""
    laboratory: str
    calibrated_on: date
    due_on: date
    expired: bool = False
    """Whether it was past `due_on`, and someone chose to go on."""

    @property
    def serial_words(self) -> str:
        """For which analyzer it was issued, as a clause; empty where the record does not say."""
        if self.serial is None:
            return ""
        return (
            f"for serial number {self.serial}, as the analyzer is named"
            if self.serial
            else NO_SERIAL
        )


class RoomFigures(FrozenModel):
    """Temperature in degrees Celsius and relative humidity in percent of the room, as told."""

    temperature_c: float | None = Field(default=None, ge=-10, le=60)
    humidity_percent: float | None = Field(default=None, ge=0, le=100)


Told = Literal["the bench file", "the operator"]


class Environment(RoomFigures):
    """The room, and who told each figure; no instrument of a bench reads them.

    None where the figure is missing, and in records that do not say.
    """

    temperature_told_by: Told | None = None
    humidity_told_by: Told | None = None


def environment_of(file: RoomFigures | None, given: RoomFigures) -> Environment | None:
    """The room by the bench file, but for what the operator gave; None where neither says it."""
    stated = RoomFigures() if file is None else file
    temperature_c, temperature_by = _told(given.temperature_c, stated.temperature_c)
    humidity_percent, humidity_by = _told(given.humidity_percent, stated.humidity_percent)
    if temperature_c is None and humidity_percent is None:
        return None
    return Environment(
        temperature_c=temperature_c,
        humidity_percent=humidity_percent,
        temperature_told_by=temperature_by,
        humidity_told_by=humidity_by,
    )


def _told(given: float | None, stated: float | None) -> tuple[float | None, Told | None]:
    """A figure and who told it."""
    if given is not None:
        return given, "the operator"
    return stated, None if stated is None else "the bench file"
