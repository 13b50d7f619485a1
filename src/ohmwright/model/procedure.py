"""A procedure: what is measured, adjusted and asked, in which stage, and within what limits."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, field_validator, model_validator
from pydantic_core.core_schema import ValidationInfo

from .base import FrozenModel
from .decision import Decision, SimpleAcceptance
from .hardware import NotNegative, Positive
from .output_steps import (
    CrestFactorStep,
    HalfAndFullStep,
    LeakageStep,
    MonotonicityStep,
    OutputStep,
    PowerCurveStep,
)
from .step import MEASURED, STAGES, Point, Stage, StepBase, TimedStep, Timing, check_units
from .tolerance import Tolerance, target_of

__all__ = [
    "MEASURED",
    "STAGES",
    "AdjustStep",
    "ContactQualityStep",
    "CrestFactorStep",
    "HalfAndFullStep",
    "InspectionStep",
    "InstructionStep",
    "LeakageStep",
    "MonotonicityStep",
    "OutputStep",
    "Point",
    "PowerCurveStep",
    "Procedure",
    "Stage",
    "Step",
    "Timing",
    "point_names",
]


class AdjustStep(TimedStep):
    """One adjustment point: its trim is moved until the current is on target."""

    kind: Literal["adjust"]
    stages: tuple[Stage, ...] = ("adjust",)
    point: str
    load_ohm: Positive
    current_ma: Positive
    tolerance: Tolerance

    @model_validator(mode="after")
    def _units_fit(self) -> AdjustStep:
        check_units("current_ma", self.tolerance)
        return self

    def points(self) -> tuple[Point, ...]:
        """The adjustment point with its current wanted."""
        target = target_of("current_ma", self.current_ma, self.tolerance)
        return (Point(name=self.point, load_ohm=self.load_ohm, target=target, decision=self.rule),)


class ContactQualityStep(StepBase):
    """The resistance between the neutral electrode's halves at which the monitor alarms.

    Searched for from below; where the alarm goes out again is searched for from above, since
    monitors have hysteresis.
    """

    kind: Literal["contact_quality"]
    from_ohm: Positive
    to_ohm: Positive
    step_ohm: Positive
    """How closely each threshold is searched for."""
    wait_s: Positive = 1.0
    """How long the monitor gets to answer each resistance."""
    alarm_above_ohm: Positive
    """The alarm must not sound below this resistance."""
    alarm_below_ohm: Positive
    """The alarm must sound at and above this resistance."""
    hysteresis_at_most_ohm: NotNegative | None = None
    """The most that the two thresholds may lie apart; absent where nobody says."""

    @model_validator(mode="after")
    def _in_order(self) -> ContactQualityStep:
        if not self.from_ohm <= self.alarm_above_ohm < self.alarm_below_ohm <= self.to_ohm:
            raise ValueError("needs from_ohm <= alarm_above_ohm < alarm_below_ohm <= to_ohm")
        return self


class InspectionStep(StepBase):
    """A question a person answers with yes (pass) or no (fail)."""

    kind: Literal["inspection"]
    question: str
    go_on_if_no: bool = False
    """Whether the run goes on all the same; else it ends, and the question is asked again then."""


class InstructionStep(StepBase):
    """Something a person must do before the procedure goes on."""

    kind: Literal["instruction"]
    text: str


Step = Annotated[
    OutputStep
    | PowerCurveStep
    | HalfAndFullStep
    | MonotonicityStep
    | AdjustStep
    | LeakageStep
    | CrestFactorStep
    | ContactQualityStep
    | InspectionStep
    | InstructionStep,
    Field(discriminator="kind"),
]


class Procedure(FrozenModel):
    """A whole procedure, as its TOML file says it."""

    title: str
    revision: str
    model: str
    """The generator model it is written for."""
    defaults: Timing = Timing()
    decision: Decision = SimpleAcceptance()
    """How values are held against their limits where a step does not say."""
    step: tuple[Step, ...] = Field(min_length=1)

    @field_validator("step")
    @classmethod
    def _decided_alike(cls, steps: tuple[Step, ...], known: ValidationInfo) -> Any:
        """Give each step without a decision rule the procedure's."""
        rule = known.data.get("decision")
        return tuple(
            type(step).model_validate({**step.model_dump(), "decision": rule})
            if isinstance(step, TimedStep) and step.decision is None
            else step
            for step in steps
        )

    @model_validator(mode="after")
    def _names_differ(self) -> Procedure:
        seen: set[str] = set()
        for step in self.step:
            if step.name in seen:
                raise ValueError(f"two steps are called '{step.name}'")
            seen.add(step.name)
            if step.kind == "adjust" and step.stages != ("adjust",):
                raise ValueError(f"step '{step.name}': an adjust step belongs to stage 'adjust'")
            if isinstance(step, TimedStep):
                self.timing(step)
        return self

    def timing(self, step: TimedStep) -> Timing:
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
            return ("alarm", "clear")
        case MonotonicityStep():
            return tuple(name for name, _ in step.levels())
        case _:
            return tuple(point.name for point in step.points())
