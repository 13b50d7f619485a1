"""A procedure: what is measured, adjusted and asked, in which stage, and within what limits."""

from __future__ import annotations

from typing import Annotated, TypeVar

from pydantic import Field, ValidationError, field_validator, model_validator
from pydantic_core.core_schema import ValidationInfo

from ohmwright.model.base import FrozenModel
from ohmwright.model.complaint_words import error_at
from ohmwright.model.decision import Decision, OwnRule, SimpleAcceptance, add_rule_kind
from ohmwright.model.step import Point, Stage, Timing

from .steps import AnyStep, Step, add_step_kind, step_kinds
from .steps.base import TimedStep

S = TypeVar("S", bound=Step)
"""A kind of step."""
R = TypeVar("R", bound=OwnRule)
"""A decision rule."""


class Procedure(FrozenModel):
    """A procedure as it is written in its TOML file: times, decision rule, and steps in order."""

    title: str
    revision: str
    model: str
    """The generator model that it is written for."""
    defaults: Timing = Timing()
    """Age, rest and longest activation where a step gives none."""
    decision: Decision = SimpleAcceptance()
    """The decision rule of steps that give none."""
    step: tuple[Annotated[Step, AnyStep()], ...] = Field(min_length=1)
    """All steps, in order; singular, as each is a `[[step]]` of the file."""

    @field_validator("step")
    @classmethod
    def _with_decisions(cls, steps: tuple[Step, ...], known: ValidationInfo) -> tuple[Step, ...]:
        """Return the steps; each without a decision rule gets the procedure's.

        Each of these is validated anew: a kind may refuse a rule.
        """
        rule = known.data.get("decision")
        return tuple(
            type(step).model_validate({**step.model_dump(exclude_unset=True), "decision": rule})
            if isinstance(step, TimedStep) and step.decision is None
            else step
            for step in steps
        )

    @model_validator(mode="after")
    def _names_differ(self) -> Procedure:
        """Refuse a second step of one name: results are told apart by it."""
        seen: set[str] = set()
        for index, step in enumerate(self.step):
            if step.name in seen:
                where = ("step", index, "name")
                raise error_at(where, f"two steps are called '{step.name}'; this is the second")
            seen.add(step.name)
        return self

    @model_validator(mode="after")
    def _instruments_are_named(self) -> Procedure:
        """Refuse a `measured_by` that names no `text` or `choice` step before it.

        In each stage of the figure that step must have named its instrument.
        """
        answered = dict[str, Step]()
        for index, step in enumerate(self.step):
            name = step.instrument_named_by()
            naming = None if name is None else answered.get(name)
            if name is not None and (naming is None or not {*step.stages} <= {*naming.stages}):
                what = f"no text or choice '{name}' stands before it in its stages"
                raise error_at(("step", index, "measured_by"), what)
            if step.answers_in_words:
                answered[step.name] = step
        return self

    @model_validator(mode="after")
    def _times_fit(self) -> Procedure:
        """Refuse a step whose times, completed by the defaults, do not fit together."""
        for index, step in enumerate(self.step):
            try:
                self.timing(step)
            except ValidationError as problem:
                what = problem.errors()[0]["msg"].removeprefix("Value error, ")
                raise error_at(("step", index, "max_on_s"), what) from None
        return self

    def timing(self, step: Step) -> Timing:
        """Return age, rest and longest activation of `step`, completed by the defaults.

        Raises ValueError where they do not fit together.
        """
        if not isinstance(step, TimedStep):
            return self.defaults
        return Timing(
            age_s=self.defaults.age_s if step.age_s is None else step.age_s,
            rest_s=self.defaults.rest_s if step.rest_s is None else step.rest_s,
            max_on_s=self.defaults.max_on_s if step.max_on_s is None else step.max_on_s,
        )

    def steps_in(self, stage: Stage) -> tuple[Step, ...]:
        """Return the steps of `stage`, in the order of the file."""
        return tuple(step for step in self.step if stage in step.stages)


def register_step(kind: type[S]) -> type[S]:
    """Make a step kind of another package known to procedures; returns it, to be a decorator.

    DEVELOPERS.md, "Add a step kind", says what a class needs; its bases are in
    `ohmwright.engine.steps.base`. A class of the same module and name replaces the one before, as
    in a notebook. Raises ValueError where its name is missing or another's, or a method is missing.
    """
    add_step_kind(kind)
    rebuild()
    return kind


def register_rule(kind: type[R]) -> type[R]:
    """Make a decision rule of another package known to procedures; returns it, to be a decorator.

    DEVELOPERS.md, "Add a decision rule", says what decides. A class of the same module and name
    replaces the one before. Raises ValueError where its name is missing or another's, or
    `arithmetic` is missing.
    """
    add_rule_kind(kind)
    rebuild()
    return kind


def rebuild() -> None:
    """Have procedures know the step kinds and rules that there are now.

    Points, which hold a rule, come first: the steps are made of them, and procedures of steps.
    """
    models: tuple[type[FrozenModel], ...] = (Point, *step_kinds().values(), Procedure)
    for model in models:
        model.model_rebuild(force=True)
