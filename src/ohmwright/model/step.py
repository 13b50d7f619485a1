"""What the steps of a procedure are made of: stages, times, points and their limits."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from .base import FrozenModel
from .decision import Decision, SimpleAcceptance
from .hardware import NotNegative, Positive
from .tolerance import ABSOLUTE, Quantity, Target, Tolerance, sides, target_of

Stage = Literal["as_found", "adjust", "as_left"]
STAGES: tuple[Stage, ...] = ("as_found", "adjust", "as_left")
Name = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9_.-]*$", max_length=60)]
MEASURED: tuple[Stage, ...] = ("as_found", "as_left")


class Timing(FrozenModel):
    """The time of a measurand (rule 8): at what age of a rested activation its value holds."""

    age_s: Positive = 6.0
    rest_s: NotNegative = 30.0
    max_on_s: Positive = 20.0

    @model_validator(mode="after")
    def _age_is_reached(self) -> Timing:
        if self.max_on_s < self.age_s + 2.0:
            raise ValueError("max_on_s must leave 2 s or more after age_s")
        return self


class Point(FrozenModel):
    """One load resistance of a step, what the output should be there, and how that is decided."""

    name: str
    load_ohm: Positive
    target: Target
    decision: Decision = SimpleAcceptance()
    setting_w: Positive | None = None
    """The power setting; absent in service mode, which has its own."""


class StepBase(FrozenModel):
    """What every step has."""

    name: Name
    stages: tuple[Stage, ...] = MEASURED
    note: str = ""


class TimedStep(StepBase):
    """What every step has that switches the output on; what is absent is the procedure's."""

    age_s: Positive | None = None
    rest_s: NotNegative | None = None
    max_on_s: Positive | None = None
    decision: Decision | None = None

    @property
    def rule(self) -> Decision:
        """The decision rule of its points."""
        return SimpleAcceptance() if self.decision is None else self.decision


class ModeStep(TimedStep):
    """What every step has that keys a mode."""

    mode: str


class OutputBase(ModeStep):
    """What every step has that keys a mode at one setting."""

    setting_w: Positive


def quantity_of(current_ma: object, power_w: object) -> Quantity:
    """The quantity of a target, of which exactly one must be given."""
    if (current_ma is None) == (power_w is None):
        raise ValueError("give exactly one of current_ma and power_w")
    return "power_w" if current_ma is None else "current_ma"


def check_units(quantity: Quantity, tolerance: Tolerance) -> None:
    """Raise ValueError where the tolerance is in another unit than its target."""
    for side in sides(tolerance):
        wrong = side.wrong_unit(quantity)
        if wrong is not None:
            fitting = " or ".join([*filter(None, [ABSOLUTE.get(quantity)]), "percent"])
            raise ValueError(
                f"the tolerance is in another unit than the target: {wrong} given for "
                f"{quantity}; use {fitting}"
            )


def point_at(
    step: OutputBase, load_ohm: float, quantity: Quantity, value: float, tolerance: Tolerance
) -> Point:
    """A point of `step` at its setting, named by its load resistance."""
    return Point(
        name=f"{load_ohm:g} ohm",
        load_ohm=load_ohm,
        target=target_of(quantity, value, tolerance),
        decision=step.rule,
        setting_w=step.setting_w,
    )
