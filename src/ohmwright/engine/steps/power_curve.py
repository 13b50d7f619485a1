"""The step kind `power_curve`: current or power into several load resistances."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field, model_validator

from ohmwright.engine.point_measurement import OutputPointsStep
from ohmwright.model.hardware import MANY, Positive
from ohmwright.model.step import Point, check_units, quantity_of
from ohmwright.model.tolerance import Tolerance

from .base import check_one_value_per_load


class PowerCurveStep(OutputPointsStep):
    """Current or power into several load resistances at one setting."""

    load_key: ClassVar[str] = "loads_ohm"
    kind: Literal["power_curve"]
    loads_ohm: tuple[Positive, ...] = Field(min_length=1, max_length=MANY)
    current_ma: tuple[Positive, ...] | None = Field(None, max_length=MANY)
    power_w: tuple[Positive, ...] | None = Field(None, max_length=MANY)
    tolerance: Tolerance

    @model_validator(mode="after")
    def _one_value_a_load(self) -> PowerCurveStep:
        quantity = quantity_of(self.current_ma, self.power_w)
        check_units(quantity, self.tolerance)
        check_one_value_per_load(quantity, self.current_ma or self.power_w or (), self.loads_ohm)
        return self

    def points(self) -> tuple[Point, ...]:
        """Return one point a load resistance, in the order of the file."""
        quantity = quantity_of(self.current_ma, self.power_w)
        pairs = zip(self.loads_ohm, self.current_ma or self.power_w or (), strict=True)
        return tuple(self.point(load, quantity, value, self.tolerance) for load, value in pairs)
