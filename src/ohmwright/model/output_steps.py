"""Steps that measure the output.

Limits are the procedure's. Defaults that IEC 60601-2-2 sets are from memory, unverified: check
them against the text that applies to you.
"""

from __future__ import annotations

from itertools import pairwise
from math import sqrt
from typing import Literal

from pydantic import Field, model_validator

from .decision import NEEDS_TWO_LIMITS
from .hardware import MANY, NotNegative, Positive
from .step import ModeStep, OutputBase, Point, check_units, point_at, quantity_of
from .tolerance import Allowance, Target, Tolerance, at_most, target_of

STANDARD_BAND = Allowance(percent=20)
"""The band about the power curve, 201.12.1.101, from memory, unverified."""


class OutputStep(OutputBase):
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
        return (point_at(self, self.load_ohm, quantity, value or 0.0, self.tolerance),)


class PowerCurveStep(OutputBase):
    """The output over several load resistances at one setting."""

    kind: Literal["power_curve"]
    loads_ohm: tuple[Positive, ...] = Field(min_length=1, max_length=MANY)
    current_ma: tuple[Positive, ...] | None = Field(None, max_length=MANY)
    power_w: tuple[Positive, ...] | None = Field(None, max_length=MANY)
    tolerance: Tolerance

    @model_validator(mode="after")
    def _one_value_a_load(self) -> PowerCurveStep:
        quantity = quantity_of(self.current_ma, self.power_w)
        check_units(quantity, self.tolerance)
        _one_each(quantity, self.current_ma or self.power_w or (), self.loads_ohm)
        return self

    def points(self) -> tuple[Point, ...]:
        """One point a load resistance, in the order of the file."""
        quantity = quantity_of(self.current_ma, self.power_w)
        pairs = zip(self.loads_ohm, self.current_ma or self.power_w or (), strict=True)
        return tuple(point_at(self, load, quantity, value, self.tolerance) for load, value in pairs)


class HalfAndFullStep(OutputBase):
    """The power curves at full and at half setting over the same load resistances.

    201.7.9.3.101, from memory, unverified: 100, 200, 500, 1000 and 2000 ohm for monopolar outputs,
    10, 50, 200, 500 and 1000 ohm for bipolar ones, and the rated load.
    """

    kind: Literal["half_and_full"]
    loads_ohm: tuple[Positive, ...] = Field(min_length=1, max_length=MANY)
    full_w: tuple[Positive, ...] = Field(max_length=MANY)
    """The power curve at `setting_w`, one value a load resistance."""
    half_w: tuple[Positive, ...] = Field(max_length=MANY)
    """The power curve at half of it."""
    tolerance: Tolerance = STANDARD_BAND

    @model_validator(mode="after")
    def _one_value_a_load(self) -> HalfAndFullStep:
        check_units("power_w", self.tolerance)
        _one_each("full_w", self.full_w, self.loads_ohm)
        _one_each("half_w", self.half_w, self.loads_ohm)
        return self

    def points(self) -> tuple[Point, ...]:
        """Every load resistance at full setting, then at half."""
        curves = (("full", self.setting_w, self.full_w), ("half", self.setting_w / 2, self.half_w))
        return tuple(
            point_at(self, load_ohm, "power_w", value_w, self.tolerance).model_copy(
                update={"name": f"{name} {load_ohm:g} ohm", "setting_w": setting_w}
            )
            for name, setting_w, curve_w in curves
            for load_ohm, value_w in zip(self.loads_ohm, curve_w, strict=True)
        )


class MonotonicityStep(ModeStep):
    """The output must not rise when the control is turned down.

    201.12.4.3.101 and .102, from memory, unverified: the latter says that the output can be
    brought to 5 % of rated power or 10 W, whichever is smaller.
    """

    kind: Literal["monotonicity"]
    load_ohm: Positive
    settings_w: tuple[Positive, ...] = Field(min_length=2, max_length=MANY)
    allowance_w: NotNegative = 0.0
    """A drop of the output from one setting to a higher one that is not counted."""
    lowest_at_most_w: Positive | None = None
    """What the output at the lowest setting may be."""

    @model_validator(mode="after")
    def _rises(self) -> MonotonicityStep:
        if any(low >= high for low, high in pairwise(self.settings_w)):
            raise ValueError("settings_w must rise from one to the next")
        return self

    @property
    def setting_w(self) -> float:
        """The highest setting."""
        return self.settings_w[-1]

    def levels(self) -> tuple[tuple[str, float], ...]:
        """Name and setting of each point, the lowest first."""
        return tuple((f"{setting_w:g} W", setting_w) for setting_w in self.settings_w)

    @property
    def lowest(self) -> Target | None:
        """The limit of the output at the lowest setting."""
        limit_w = self.lowest_at_most_w
        return None if limit_w is None else at_most("power_w", limit_w)


class LeakageStep(OutputBase):
    """HF leakage current, which must stay at or below a limit."""

    kind: Literal["leakage"]
    load_ohm: Positive = 200.0
    """The measuring resistance."""
    limit_ma: Positive | None = None
    rated_power_w: Positive | None = None
    """Instead of `limit_ma`: the limit is the current that makes `limit_percent` of this power."""
    limit_percent: Positive = 1.0
    """For bipolar outputs, 201.8.7.3.101 a) 3), from memory, unverified."""

    @model_validator(mode="after")
    def _one_limit(self) -> LeakageStep:
        if (self.limit_ma is None) == (self.rated_power_w is None):
            raise ValueError("give exactly one of limit_ma and rated_power_w")
        if isinstance(self.decision, NEEDS_TWO_LIMITS):
            raise ValueError(
                f"the rule '{self.decision.rule}' needs two limits and leakage has one; give step "
                f"'{self.name}' a decision of its own, such as {{ rule = \"simple acceptance\" }}"
            )
        return self

    def points(self) -> tuple[Point, ...]:
        """The one point."""
        limit_ma = self.limit_ma
        if limit_ma is None:
            allowed_w = (self.rated_power_w or 0.0) * self.limit_percent / 100
            limit_ma = 1000 * sqrt(allowed_w / self.load_ohm)
        target = at_most("current_ma", limit_ma)
        return (
            Point(
                name="leakage",
                load_ohm=self.load_ohm,
                target=target,
                decision=self.rule,
                setting_w=self.setting_w,
            ),
        )


class CrestFactorStep(OutputBase):
    """Peak over RMS of the captured current.

    The standard speaks of the open-circuit voltage (from memory, unverified); what a load
    resistance shows is the current, of the same shape.
    """

    kind: Literal["crest_factor"]
    load_ohm: Positive
    crest_factor: Positive
    tolerance: Tolerance

    @model_validator(mode="after")
    def _units_fit(self) -> CrestFactorStep:
        check_units("crest_factor", self.tolerance)
        return self

    def points(self) -> tuple[Point, ...]:
        """The one point."""
        target = target_of("crest_factor", self.crest_factor, self.tolerance)
        return (
            Point(
                name="crest factor",
                load_ohm=self.load_ohm,
                target=target,
                decision=self.rule,
                setting_w=self.setting_w,
            ),
        )


def _one_each(name: str, values: tuple[float, ...], loads_ohm: tuple[float, ...]) -> None:
    if len(values) != len(loads_ohm):
        raise ValueError(f"{name} has {len(values)} values for {len(loads_ohm)} loads_ohm")
