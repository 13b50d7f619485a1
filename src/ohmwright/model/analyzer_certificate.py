"""An analyzer's calibration certificate as data: its accuracy, and who states it.

Every accuracy is plus or minus a percentage of the reading plus a floor. With a `coverage_factor`
it is an expanded uncertainty, u = U / k; without one it is a limit of error within which anything
is equally likely, u = a / sqrt(3) (GUM 4.3.7).

What else changes a reading stands in `Influences`, as far as anybody has stated it.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated

from pydantic import Field, model_validator

from .base import FrozenModel
from .hardware import MANY, NotNegative, Positive
from .traceability import Traceability


class CurrentRange(FrozenModel):
    """The meter's accuracy up to `up_to_ma`; of several ranges the first that fits counts."""

    up_to_ma: Positive
    percent: NotNegative
    floor_ma: NotNegative = 0.0
    resolution_ma: Positive
    coverage_factor: Positive | None = None


class LoadAccuracy(FrozenModel):
    """The largest relative difference between resistances and their nominal values."""

    percent: NotNegative
    coverage_factor: Positive | None = None


class Drift(FrozenModel):
    """The most that meter and load bank may have moved since they were calibrated.

    What is absent is not part of the uncertainty, and every result says so.
    """

    current_percent_per_year: NotNegative | None = None
    load_percent_per_year: NotNegative | None = None


class Influences(FrozenModel):
    """What else changes a reading, by certificate, manual or one's own measurements.

    Each is a limit of error, save `reconnection_percent`. What is absent is not part of the
    uncertainty, and every result says so; 0 says that it was looked into and is nil.
    """

    load_inductance_uh: NotNegative | None = None
    """The largest in series with a load resistance."""
    stray_capacitance_pf: NotNegative | None = None
    """The largest across a load resistance, with its terminals."""
    lead_inductance_uh: NotNegative | None = None
    """In series with the load, of the leads to the generator, both ways."""
    lead_capacitance_pf: NotNegative | None = None
    """Between the leads."""
    crest_factor_percent: NotNegative | None = None
    """Of the reading, for the waveforms of the generator's modes instead of a sine."""
    calibrated_at_c: Annotated[float, Field(ge=-10, le=60)] | None = None
    """Temperature of the room in which the analyzer was calibrated."""
    current_percent_per_k: NotNegative | None = None
    load_percent_per_k: NotNegative | None = None
    reconnection_percent: NotNegative | None = None
    """Standard deviation of a reading over connecting the leads anew, of the reading."""
    reconnections: Annotated[int, Field(ge=2, le=10_000)] | None = None
    """How often the leads were connected to find it."""

    @model_validator(mode="after")
    def _whole(self) -> Influences:
        per_k = (self.current_percent_per_k, self.load_percent_per_k)
        if self.calibrated_at_c is None and per_k != (None, None):
            raise ValueError("a temperature coefficient needs calibrated_at_c")
        if (self.reconnection_percent is None) != (self.reconnections is None):
            raise ValueError("give both reconnection_percent and reconnections, or neither")
        return self


class AnalyzerCertificate(FrozenModel):
    """The whole certificate of one analyzer."""

    number: str
    laboratory: str
    serial: str | None = None
    """Serial number of the analyzer it was issued for; where given, the instrument must say it."""
    calibrated_on: date
    due_on: date
    current: tuple[CurrentRange, ...] = Field(min_length=1, max_length=MANY)
    load: LoadAccuracy
    contact: LoadAccuracy | None = None
    """Of the contact resistances; absent where the certificate says nothing of them."""
    drift: Drift = Drift()
    influences: Influences = Influences()
    current_load_correlation: Annotated[float, Field(ge=-1, le=1)] = 0.0
    """Between the errors of meter and load bank, where both come from one reference."""

    @model_validator(mode="after")
    def _in_order(self) -> AnalyzerCertificate:
        if self.calibrated_on > self.due_on:
            raise ValueError("due_on lies before calibrated_on")
        ends = [one.up_to_ma for one in self.current]
        if ends != sorted(set(ends)):
            raise ValueError("the ranges must be in order, each up_to_ma above the last")
        return self

    def range_of(self, current_ma: float) -> CurrentRange:
        """The first range that holds `current_ma`; the last range for a current beyond them all.

        A procedure that asks for more than the certificate covers is refused before it runs.
        """
        fitting = (one for one in self.current if abs(current_ma) <= one.up_to_ma)
        return next(fitting, self.current[-1])

    def traceability(self, on: date) -> Traceability:
        """The certificate as results name it, and whether it has expired on the date `on`."""
        return Traceability(
            certificate=self.number,
            serial=self.serial or "",
            laboratory=self.laboratory,
            calibrated_on=self.calibrated_on,
            due_on=self.due_on,
            expired=on > self.due_on,
        )
