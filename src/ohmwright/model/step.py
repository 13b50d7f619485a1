"""What the steps of a procedure are made of: stages, times, points and their limits."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Literal

from pydantic import Field, model_validator

from .base import FrozenModel
from .complaint_words import error_at
from .decision import Decision, SimpleAcceptance
from .errors import UsageError
from .hardware import NotNegative, Positive
from .quantity import Quantity
from .tolerance import Target, Tolerance, absolute_key, sides

Stage = Literal["as_found", "adjust", "as_left"]
STAGES: tuple[Stage, ...] = ("as_found", "adjust", "as_left")
"""In the order in which they are done."""
MEASURED: tuple[Stage, ...] = ("as_found", "as_left")
"""The stages of which outputs are reported; `adjust` has the values that trims were moved to."""
Name = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9_.-]*$", max_length=60)]
"""Of a step."""
_LEAST_AFTER_AGE_S = 2.0
"""Of an activation after the age at which a value holds: room for readings there and for OFF before
the limit that travels with ON; no source."""


def known_stages(stages: Iterable[str]) -> tuple[Stage, ...]:
    """Return the stages of those names, each once, in the order in which they are done.

    A single name may be given as text. Raises UsageError for none or unknown ones.
    """
    names = (stages,) if isinstance(stages, str) else tuple(stages)
    if unknown := [name for name in names if name not in STAGES]:
        raise UsageError(
            f"There is no stage {unknown[0]!r}.",
            "Nothing was switched on.",
            f"The stages are {', '.join(STAGES)}.",
        )
    if not names:
        raise UsageError(
            "No stage is named.", "Nothing was switched on.", f"Name some of {', '.join(STAGES)}."
        )
    return tuple(stage for stage in STAGES if stage in names)


class Timing(FrozenModel):
    """When a value is taken: the age of a rested activation at which it holds, in seconds.

    `rest_s`: the longest rest before it; `max_on_s`: the time limit that travels with ON.
    """

    age_s: Positive = 6.0
    rest_s: NotNegative = 30.0
    max_on_s: Positive = 20.0

    @model_validator(mode="after")
    def _age_is_reached(self) -> Timing:
        if self.max_on_s < self.age_s + _LEAST_AFTER_AGE_S:
            raise ValueError(
                f"max_on_s ({self.max_on_s:g} s) must leave {_LEAST_AFTER_AGE_S:g} s or more after "
                f"age_s ({self.age_s:g} s)"
            )
        return self


class Point(FrozenModel):
    """One load resistance of a step, what the output should be there, and how that is decided."""

    name: str
    load_ohm: Positive
    target: Target
    decision: Decision = SimpleAcceptance()
    setting_w: Positive | None = None
    """The power setting; absent in service mode, which has its own."""


def quantity_of(current_ma: object, power_w: object) -> Quantity:
    """The quantity of a target. Raises ValueError unless exactly one of the two is given."""
    if (current_ma is None) == (power_w is None):
        raise ValueError("give exactly one of current_ma and power_w")
    return "power_w" if current_ma is None else "current_ma"


def check_units(quantity: Quantity, tolerance: Tolerance) -> None:
    """Complain about the key `tolerance` where it is in another unit than its target."""
    for side in sides(tolerance):
        wrong = side.wrong_unit(quantity)
        if wrong is not None:
            fitting = " or ".join([*filter(None, [absolute_key(quantity)]), "percent"])
            raise error_at(
                ("tolerance",),
                f"the tolerance is in another unit than the target: {wrong} given for "
                f"{quantity}; use {fitting}",
            )
