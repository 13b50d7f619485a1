"""The step kind `output`: one test point of current or power into one load resistance."""

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
    """One test point of current or power into one load resistance."""

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
        """Return the one point with its target."""
        quantity = quantity_of(self.current_ma, self.power_w)
        value = self.current_ma if quantity == "current_ma" else self.power_w
        return (self.point(self.load_ohm, quantity, value or 0.0, self.tolerance),)

    def requirements(self, bench: Abilities, timing: Timing) -> Iterator[Complaint]:
        """Complain where mode, setting, time, load or range is out of the bench's."""
        yield from super().requirements(bench, timing)
        yield from points_within_range(self.points(), bench)

    def run(self, work: StepRun) -> AsyncIterator[Event]:
        """Measure the point; yield the events."""
        return output_points(self, work)
