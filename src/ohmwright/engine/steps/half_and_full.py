"""The step kind `half_and_full`: power curves at full and half setting over the same loads.

Defaults that IEC 60601-2-2 sets are from memory, unverified: check them against the text that
applies to you.
"""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field, model_validator

from ohmwright.engine.point_measurement import OutputPointsStep
from ohmwright.model.hardware import MANY, Positive
from ohmwright.model.step import Point, check_units
from ohmwright.model.tolerance import Allowance, Tolerance

from .base import check_one_value_per_load

STANDARD_BAND = Allowance(percent=20)
"""The tolerance about the power curve: 201.12.1.101, from memory, unverified."""


class HalfAndFullStep(OutputPointsStep):
    """The power curves at full and at half setting over the same load resistances.

    201.7.9.3.101, from memory, unverified: 100, 200, 500, 1000 and 2000 ohm for monopolar outputs,
    10, 50, 200, 500 and 1000 ohm for bipolar ones, and the rated load.
    """

    load_key: ClassVar[str] = "loads_ohm"
    kind: Literal["half_and_full"]
    loads_ohm: tuple[Positive, ...] = Field(min_length=1, max_length=MANY)
    full_w: tuple[Positive, ...] = Field(max_length=MANY)
    """The power curve at `setting_w`, one value a load resistance."""
    half_w: tuple[Positive, ...] = Field(max_length=MANY)
    """The power curve at half of `setting_w`, one value a load resistance."""
    tolerance: Tolerance = STANDARD_BAND

    @model_validator(mode="after")
    def _one_value_a_load(self) -> HalfAndFullStep:
        check_units("power_w", self.tolerance)
        check_one_value_per_load("full_w", self.full_w, self.loads_ohm)
        check_one_value_per_load("half_w", self.half_w, self.loads_ohm)
        return self

    def points(self) -> tuple[Point, ...]:
        """Return every load resistance at full setting, then at half, each with its target."""
        curves = (("full", self.setting_w, self.full_w), ("half", self.setting_w / 2, self.half_w))
        return tuple(
            self.point(
                load_ohm, "power_w", value_w, self.tolerance, f"{name} {load_ohm:g} ohm"
            ).model_copy(update={"setting_w": setting_w})
            for name, setting_w, curve_w in curves
            for load_ohm, value_w in zip(self.loads_ohm, curve_w, strict=True)
        )
