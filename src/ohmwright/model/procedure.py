"""A procedure: what is measured, adjusted and asked, in which stage, and within what limits."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from .base import Noun
from .hardware import NotNegative, Positive
from .tolerance import Quantity, Target, Tolerance, sides, target_of

Stage = Literal["as_found", "adjust", "as_left"]
STAGES: tuple[Stage, ...] = ("as_found", "adjust", "as_left")
Name = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9_.-]*$", max_length=60)]
MEASURED: tuple[Stage, ...] = ("as_found", "as_left")


class Timing(Noun):
    """The time of a measurand (rule 8): at what age of a rested activation its value holds."""

    age_s: Positive = 6.0
    rest_s: NotNegative = 30.0
    max_on_s: Positive = 20.0

    @model_validator(mode="after")
    def _age_is_reached(self) -> Timing:
        if self.max_on_s < self.age_s + 2.0:
            raise ValueError("max_on_s must leave 2 s or more after age_s")
        return self


class StepBase(Noun):
    """What every step has."""

    name: Name
    stages: tuple[Stage, ...] = MEASURED
    note: str = ""


class OutputBase(StepBase):
    """What every step has that switches the output on."""

    mode: str
    setting_w: Positive
    age_s: Positive | None = None
    rest_s: NotNegative | None = None
    max_on_s: Positive | None = None


class Point(Noun):
    """One load resistance of a step and what the output should be there."""

    name: str
    load_ohm: Positive
    target: Target


class OutputStep(OutputBase):
    """One test point."""

    kind: Literal["output"]
    load_ohm: Positive
    current_ma: Positive | None = None
    power_w: Positive | None = None
    tolerance: Tolerance

    @model_validator(mode="after")
    def _one_target(self) -> OutputStep:
        _check_units(_quantity(self.current_ma, self.power_w), self.tolerance)
        return self

    def points(self) -> tuple[Point, ...]:
        """The one point."""
        quantity = _quantity(self.current_ma, self.power_w)
        value = self.current_ma if quantity == "current_ma" else self.power_w
        return (_point(quantity, self.load_ohm, value or 0.0, self.tolerance),)


class PowerCurveStep(OutputBase):
    """The output over several load resistances at one setting."""

    kind: Literal["power_curve"]
    loads_ohm: tuple[Positive, ...] = Field(min_length=1)
    current_ma: tuple[Positive, ...] | None = None
    power_w: tuple[Positive, ...] | None = None
    tolerance: Tolerance

    @model_validator(mode="after")
    def _one_value_a_load(self) -> PowerCurveStep:
        quantity = _quantity(self.current_ma, self.power_w)
        _check_units(quantity, self.tolerance)
        values = self.current_ma or self.power_w or ()
        if len(values) != len(self.loads_ohm):
            raise ValueError(
                f"{quantity} has {len(values)} values for {len(self.loads_ohm)} loads_ohm"
            )
        return self

    def points(self) -> tuple[Point, ...]:
        """One point a load resistance, in the order of the file."""
        quantity = _quantity(self.current_ma, self.power_w)
        values = self.current_ma or self.power_w or ()
        pairs = zip(self.loads_ohm, values, strict=True)
        return tuple(_point(quantity, load, value, self.tolerance) for load, value in pairs)


class AdjustStep(StepBase):
    """One adjustment point: its trim is moved until the current is on target."""

    kind: Literal["adjust"]
    stages: tuple[Stage, ...] = ("adjust",)
    point: str
    load_ohm: Positive
    current_ma: Positive
    tolerance: Tolerance
    age_s: Positive | None = None
    rest_s: NotNegative | None = None
    max_on_s: Positive | None = None

    @model_validator(mode="after")
    def _units_fit(self) -> AdjustStep:
        _check_units("current_ma", self.tolerance)
        return self

    def points(self) -> tuple[Point, ...]:
        """The adjustment point with its current wanted."""
        target = target_of("current_ma", self.current_ma, self.tolerance)
        return (Point(name=self.point, load_ohm=self.load_ohm, target=target),)


class LeakageStep(OutputBase):
    """HF leakage current, which must stay at or below a limit."""

    kind: Literal["leakage"]
    load_ohm: Positive = 200.0
    """The measuring resistance."""
    limit_ma: Positive

    def points(self) -> tuple[Point, ...]:
        """The one point: a current has no sign, so the band is symmetrical about zero."""
        target = Target(
            quantity="current_ma", value=self.limit_ma, lower=-self.limit_ma, upper=self.limit_ma
        )
        return (Point(name="leakage", load_ohm=self.load_ohm, target=target),)


class ContactQualityStep(StepBase):
    """The resistance between the neutral electrode's halves at which the monitor alarms."""

    kind: Literal["contact_quality"]
    from_ohm: Positive
    to_ohm: Positive
    step_ohm: Positive
    wait_s: Positive = 1.0
    """How long the monitor gets to answer each resistance."""
    alarm_above_ohm: Positive
    """The alarm must not sound below this resistance."""
    alarm_below_ohm: Positive
    """The alarm must sound at and above this resistance."""

    @model_validator(mode="after")
    def _in_order(self) -> ContactQualityStep:
        if not self.from_ohm <= self.alarm_above_ohm < self.alarm_below_ohm <= self.to_ohm:
            raise ValueError("needs from_ohm <= alarm_above_ohm < alarm_below_ohm <= to_ohm")
        return self


class InspectionStep(StepBase):
    """A question a person answers with yes (pass) or no (fail)."""

    kind: Literal["inspection"]
    question: str


class InstructionStep(StepBase):
    """Something a person must do before the procedure goes on."""

    kind: Literal["instruction"]
    text: str


Step = Annotated[
    OutputStep
    | PowerCurveStep
    | AdjustStep
    | LeakageStep
    | ContactQualityStep
    | InspectionStep
    | InstructionStep,
    Field(discriminator="kind"),
]


class Procedure(Noun):
    """A whole procedure, as its TOML file says it."""

    title: str
    revision: str
    model: str
    """The generator model it is written for."""
    defaults: Timing = Timing()
    step: tuple[Step, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _names_differ(self) -> Procedure:
        seen: set[str] = set()
        for step in self.step:
            if step.name in seen:
                raise ValueError(f"two steps are called '{step.name}'")
            seen.add(step.name)
            if step.kind == "adjust" and step.stages != ("adjust",):
                raise ValueError(f"step '{step.name}': an adjust step belongs to stage 'adjust'")
            if isinstance(step, OutputBase | AdjustStep):
                self.timing(step)
        return self

    def timing(self, step: OutputBase | AdjustStep) -> Timing:
        """The times of `step`: its own where it gives them, else the defaults."""
        return Timing(
            age_s=self.defaults.age_s if step.age_s is None else step.age_s,
            rest_s=self.defaults.rest_s if step.rest_s is None else step.rest_s,
            max_on_s=self.defaults.max_on_s if step.max_on_s is None else step.max_on_s,
        )

    def steps_in(self, stage: Stage) -> tuple[Step, ...]:
        """The steps of `stage`, in the order of the file."""
        return tuple(step for step in self.step if stage in step.stages)


def point_names(step: Step) -> tuple[str, ...]:
    """Every point of `step` that must have a result; none for an instruction."""
    match step:
        case InstructionStep():
            return ()
        case InspectionStep():
            return ("answer",)
        case ContactQualityStep():
            return ("alarm",)
        case _:
            return tuple(point.name for point in step.points())


def _quantity(current_ma: object, power_w: object) -> Quantity:
    if (current_ma is None) == (power_w is None):
        raise ValueError("give exactly one of current_ma and power_w")
    return "power_w" if current_ma is None else "current_ma"


def _check_units(quantity: Quantity, tolerance: Tolerance) -> None:
    for side in sides(tolerance):
        wrong = side.wrong_unit(quantity)
        if wrong is not None:
            fitting = "absolute_ma" if quantity == "current_ma" else "absolute_w"
            raise ValueError(
                f"the tolerance is in another unit than the target: {wrong} given for "
                f"{quantity}; use {fitting} or percent"
            )


def _point(quantity: Quantity, load_ohm: float, value: float, tolerance: Tolerance) -> Point:
    name = f"{load_ohm:g} ohm"
    return Point(name=name, load_ohm=load_ohm, target=target_of(quantity, value, tolerance))
