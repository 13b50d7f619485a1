"""One test point of the output."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator
from typing import Literal

from pydantic import model_validator

from ohmwright.engine.point_measurement import output_points
from ohmwright.engine.requirements import Abilities, Complaint, points_within_range
from ohmwright.model.event import Event
from ohmwright.model.hardware import Positive
from ohmwright.model.step import Point, Timing, check_units, quantity_of
from ohmwright.model.tolerance import Tolerance

from .base import SettingStep, StepRun


class OutputStep(SettingStep):
    """One test point."""

    kind: Literal["output"]
    load_ohm: Positive
    current_ma: Positive | None = None
    power_w: Positive | None = None
    tolerance: Tolerance

    @model_validator(mode="after")
    def _one_target(self) -> OutputStep:
        check_units(quantity_of(self.current_ma, self.power_w), self.tolerance)
        return self

    def points(self) -> tuple[Point, ...]:
        """The one point."""
        quantity = quantity_of(self.current_ma, self.power_w)
        value = self.current_ma if quantity == "current_ma" else self.power_w
        return (self.point(self.load_ohm, quantity, value or 0.0, self.tolerance),)

    def requirements(self, bench: Abilities, timing: Timing) -> Iterator[Complaint]:
        """Mode, setting, time, load and range."""
        yield from super().requirements(bench, timing)
        yield from points_within_range(self.points(), bench)

    def run(self, work: StepRun) -> AsyncIterator[Event]:
        """Measure the point."""
        return output_points(self, work)
