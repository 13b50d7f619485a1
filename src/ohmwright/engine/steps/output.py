"""The step kind `output`: one test point of current or power into one load resistance."""

from __future__ import annotations

from typing import Literal

from pydantic import model_validator

from ohmwright.engine.point_measurement import OutputPointsStep
from ohmwright.model.hardware import Positive
from ohmwright.model.step import Point, check_units, quantity_of
from ohmwright.model.tolerance import Tolerance


class OutputStep(OutputPointsStep):
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
        assert value is not None  # as the validator saw to
        return (self.point(self.load_ohm, quantity, value, self.tolerance),)
