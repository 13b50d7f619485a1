"""Targets, and how far a reading may lie from them."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Discriminator, Field, Tag, model_validator

from .base import FrozenModel
from .hardware import Positive
from .quantity import Quantity, unit_of

_ABSOLUTE = "absolute_"


class Allowance(FrozenModel):
    """The largest distance from a target; where two are given the larger one counts.

    An absolute distance is in the unit that its name ends with, which must be the quantity's.
    """

    percent: Positive | None = None
    absolute_ma: Positive | None = None
    absolute_w: Positive | None = None

    @model_validator(mode="after")
    def _say_something(self) -> Allowance:
        if all(value is None for _, value in self):
            raise ValueError("give percent, absolute_ma or absolute_w")
        return self

    def width(self, target: float, quantity: Quantity) -> float:
        """The distance in the unit of `quantity`."""
        relative = None if self.percent is None else target * self.percent / 100
        key = absolute_key(quantity)
        absolute = None if key is None else getattr(self, key)
        return max(width for width in (relative, absolute) if width is not None)

    def wrong_unit(self, quantity: Quantity) -> str | None:
        """The key whose unit does not fit `quantity`, if there is one."""
        fitting = ("percent", absolute_key(quantity))
        return next((key for key, value in self if value is not None and key not in fitting), None)


def absolute_key(quantity: Quantity) -> str | None:
    """The key of an absolute allowance for `quantity`; None where there is only `percent`."""
    key = _ABSOLUTE + quantity.rpartition("_")[2]
    return key if key in Allowance.model_fields else None


class TwoSided(FrozenModel):
    """A tolerance whose lower and upper sides differ."""

    lower: Allowance
    upper: Allowance


def _sides(value: Any) -> str:
    two = isinstance(value, TwoSided) or (isinstance(value, dict) and {"lower", "upper"} & {*value})
    return "two" if two else "one"


Tolerance = Annotated[
    Annotated[Allowance, Tag("one")] | Annotated[TwoSided, Tag("two")], Discriminator(_sides)
]


def sides(tolerance: Allowance | TwoSided) -> tuple[Allowance, Allowance]:
    """The allowances below and above the target."""
    if isinstance(tolerance, TwoSided):
        return tolerance.lower, tolerance.upper
    return tolerance, tolerance


NO_UPPER_LIMIT = 1e12
"""Recorded as the upper limit where there is none, for JSON has no infinity."""


class Target(FrozenModel):
    """The value that a reading should have, and its limits, all in the unit of `quantity`."""

    quantity: Quantity
    value: Annotated[float, Field(gt=0)]
    lower: float
    upper: float

    @property
    def unit(self) -> str:
        """Symbol of the unit."""
        return unit_of(self.quantity).symbol

    @property
    def one_sided(self) -> bool:
        """Whether only the upper limit counts, the lower being below zero."""
        return self.lower < 0

    @property
    def lower_only(self) -> bool:
        """Whether only the lower limit counts."""
        return self.upper >= NO_UPPER_LIMIT

    @property
    def half_width(self) -> float:
        """The narrower side of the tolerance."""
        return min(self.upper - self.value, self.value - self.lower)


def target_of(quantity: Quantity, value: float, tolerance: Allowance | TwoSided) -> Target:
    """The target `value` with the limits that `tolerance` puts around it."""
    low, high = sides(tolerance)
    return Target(
        quantity=quantity,
        value=value,
        lower=value - low.width(value, quantity),
        upper=value + high.width(value, quantity),
    )


def at_most(quantity: Quantity, limit: float) -> Target:
    """A target with the upper limit `limit`; the lower is its negative, which cannot be reached."""
    return Target(quantity=quantity, value=limit, lower=-limit, upper=limit)


def at_least(quantity: Quantity, limit: float) -> Target:
    """A target with the lower limit `limit` alone."""
    return Target(quantity=quantity, value=limit, lower=limit, upper=NO_UPPER_LIMIT)
