"""A procedure: what is measured, adjusted and asked, in which stage, and within what limits."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field, field_validator, model_validator
from pydantic_core.core_schema import ValidationInfo

from ohmwright.model.base import FrozenModel
from ohmwright.model.decision import Decision, SimpleAcceptance
from ohmwright.model.step import Stage, Timing

from .steps import AnyStep, Step
from .steps.base import TimedStep


class Procedure(FrozenModel):
    """A whole procedure, as its TOML file says it."""

    title: str
    revision: str
    model: str
    """The generator model it is written for."""
    defaults: Timing = Timing()
    decision: Decision = SimpleAcceptance()
    """How values are held against their limits where a step does not say."""
    step: tuple[Annotated[Step, AnyStep()], ...] = Field(min_length=1)

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
            self.timing(step)
        return self

    def timing(self, step: Step) -> Timing:
        """The times of `step`: its own where it gives them, else the defaults."""
        if not isinstance(step, TimedStep):
            return self.defaults
        return Timing(
            age_s=self.defaults.age_s if step.age_s is None else step.age_s,
            rest_s=self.defaults.rest_s if step.rest_s is None else step.rest_s,
            max_on_s=self.defaults.max_on_s if step.max_on_s is None else step.max_on_s,
        )

    def steps_in(self, stage: Stage) -> tuple[Step, ...]:
        """The steps of `stage`, in the order of the file."""
        return tuple(step for step in self.step if stage in step.stages)
