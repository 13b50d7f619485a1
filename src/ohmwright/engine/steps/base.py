"""Base classes of step kinds: data of a procedure, what it requires of a bench, how it is run.

A new kind is a module of this package with one class, derived from the base that fits:
`PersonStep` (a person alone), `InstrumentStep` (instruments, no RF), `TimedStep` (switches RF on),
`ModeStep` (keys a mode), `SettingStep` (keys a mode at one setting). More bases stand elsewhere in
`engine`: `answered_step.AnsweredStep`, `point_measurement.OutputPointsStep`.
"""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import AsyncIterator, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Annotated, ClassVar, Literal, NamedTuple, Self

from pydantic import Field, model_validator

from ohmwright.engine.prior_of_point import PriorOfPoint
from ohmwright.engine.requirements import (
    Abilities,
    Complaint,
    setting_within_mode,
    time_within_limits,
)
from ohmwright.engine.session import Session
from ohmwright.instruments.required_messages import MODES, missing_messages
from ohmwright.model.analyzer_certificate import AnalyzerCertificate
from ohmwright.model.base import FrozenModel
from ohmwright.model.decision import NEEDS_TWO_LIMITS, Decision, SimpleAcceptance
from ohmwright.model.event import Event, StepStarted
from ohmwright.model.hardware import GeneratorData, NotNegative, Positive, ServicePoint
from ohmwright.model.quantity import Quantity
from ohmwright.model.result import Result
from ohmwright.model.step import MEASURED, Name, Point, Stage, Timing
from ohmwright.model.tolerance import Target, Tolerance, target_of
from ohmwright.wire.command_set import Verb

ValueRule = Literal["decided", "settled", "confirmed"]
"""The stop rules `UntilDecided` and `UntilSettled`, and the confirmation of an adjustment."""
_READ: tuple[Quantity, ...] = ("current_ma", "power_w")
"""Quantities that are read as a current."""


@dataclass(frozen=True)
class StepRun:
    """What a step needs to be run once: session, stage, times, and what is already known."""

    session: Session
    stage: Stage
    timing: Timing
    missing: tuple[str, ...]
    """Names of the points that are to be measured."""
    earlier: Sequence[Result]
    """Results of the step's other points."""
    rf_follows: bool
    """Whether the next step keys the output without asking a person before."""
    priors: Mapping[str, PriorOfPoint]
    """What is known of the point of each adjust step before it is adjusted, by step name."""
    answers: Mapping[str, str] = field(default_factory=dict[str, str])
    """What a person or a file answered in the stage so far, by step name."""


class StatedCondition(NamedTuple):
    """What a step states of a point beside its limits; None for what it leaves to the unit."""

    mode: str | None
    setting_w: float | None
    load_ohm: float | None


class Step(FrozenModel):
    """One step of a procedure; a key that a kind does not know is refused when it is read."""

    kind: str
    name: Name
    stages: Annotated[tuple[Stage, ...], Field(min_length=1)] = MEASURED
    note: str = ""
    wears_off: ClassVar[bool] = False
    """Whether its effect is gone after a while: a resumed run does it again before other steps."""
    analyzer_messages: ClassVar[tuple[Verb, ...]] = ()
    """Messages that the analyzer's command set must have beside the ones for any activation."""
    generator_messages: ClassVar[tuple[Verb, ...]] = ()
    """Messages that the command set of a generator with a port must have."""
    takes_given_values: ClassVar[bool] = False
    """Whether its answer may be given in a file instead of by a person."""
    activates_for_each_result: ClassVar[bool] = False
    """Whether each of its results has an activation of its own, which it is held against."""
    answers_in_words: ClassVar[bool] = False
    """Whether its answer is words, which may name the instrument of a later figure."""
    has_output_budget: ClassVar[bool] = False
    """Whether its currents and powers have the budget of `measured_value`."""
    chooses_on_fault: ClassVar[bool] = False
    """Whether its data say what follows a fault at one of its points: then nobody is asked."""
    value_rule: ClassVar[ValueRule | None] = None
    """What made its values of current or power of their readings, which give them again by it;
    None for another way, which is not gone again."""

    @model_validator(mode="after")
    def _refuse_idle_keys(self) -> Self:
        """Refuse what is given and says nothing: whoever gave it believes that it does."""
        if idle := self.without_effect() & self.model_fields_set:
            raise ValueError(f"{' and '.join(sorted(idle))} has no effect here: leave it out")
        return self

    def started(self, session: Session, stage: Stage) -> StepStarted:
        """Return the event of its beginning now in `stage`."""
        return StepStarted(**session.stamp(), stage=stage, step=self.name, note=self.note)

    @abstractmethod
    def point_names(self) -> tuple[str, ...]:
        """Return the names of all points that must have a result; none for an instruction."""

    def stated_targets(self) -> Mapping[str, Target]:
        """Return the limits that the step states, by point; records are compared with them."""
        return {}

    def stated_conditions(self) -> Mapping[str, StatedCondition]:
        """Return mode, setting and load of each point; records are compared with them."""
        return {}

    def without_effect(self) -> frozenset[str]:
        """Return the keys that say nothing beside those given, as of another form of the limit."""
        return frozenset()

    @abstractmethod
    def run(self, work: StepRun) -> AsyncIterator[Event]:
        """Measure the missing points and yield the events; RF is off at every yield."""

    @abstractmethod
    def complaints(self, bench: Abilities, timing: Timing) -> Iterator[Complaint]:
        """Yield what `bench` cannot do of the step; `timing`: its times with the defaults."""

    def unanswered(self, bench: Abilities, stages: tuple[Stage, ...]) -> Iterator[Complaint]:  # noqa: ARG002
        """Yield what is wrong with the answers that `bench` is given for the step in `stages`."""
        yield from ()

    def words_asked(self) -> str:
        """Return what it asks a person, as it is put on record; empty where it asks nothing."""
        return ""

    @classmethod
    def answer_behind(cls, result: Result) -> str | None:  # noqa: ARG003
        """Return the answer that a result was made of; None where it was made otherwise."""
        return None

    @classmethod
    def is_covered_by(cls, certificate: AnalyzerCertificate) -> bool:  # noqa: ARG003
        """Return whether an analyzer certificate may say something of what it measures."""
        return True

    def instrument_named_by(self) -> str | None:
        """Return the step before it whose answer names its instrument; None where none does."""
        return None

    def is_finished_by(self, result: Result) -> bool:  # noqa: ARG002
        """Return whether a point with this result is not done again when a run is resumed."""
        return True


class PersonStep(Step):
    """A step that a person does, with no instrument."""

    def complaints(self, bench: Abilities, timing: Timing) -> Iterator[Complaint]:  # noqa: ARG002
        """Complain where nobody is at the bench."""
        if not bench.attended:
            yield "kind", "it needs a person, and the run is unattended"


class InstrumentStep(Step):
    """A step that uses the instruments."""

    def complaints(self, bench: Abilities, timing: Timing) -> Iterator[Complaint]:
        """Complain of a missing person or message, then of what `requirements` finds."""
        if not bench.attended:
            yield from _person_needed(bench)
        yield from self._missing_messages(bench)
        yield from self.requirements(bench, timing)

    @abstractmethod
    def requirements(self, bench: Abilities, timing: Timing) -> Iterator[Complaint]:
        """Yield what this kind requires of instruments and data, and `bench` lacks."""

    def _missing_messages(self, bench: Abilities) -> Iterator[Complaint]:
        for who, verbs, needed in (
            ("analyzer", bench.analyzer_verbs, self.analyzer_messages),
            ("generator", bench.generator_verbs, self._generator_messages_needed(bench)),
        ):
            if missing := missing_messages(verbs, needed):
                yield "kind", f"the {who}'s command set has no {missing}"

    def _generator_messages_needed(self, bench: Abilities) -> tuple[Verb, ...]:  # noqa: ARG002
        return self.generator_messages


class TimedStep(InstrumentStep):
    """A step that switches RF on. Times that it does not give are the procedure's."""

    activates_for_each_result: ClassVar[bool] = True
    age_s: Positive | None = None
    rest_s: NotNegative | None = None
    max_on_s: Positive | None = None
    decision: Decision | None = None

    def _generator_messages_needed(self, bench: Abilities) -> tuple[Verb, ...]:
        """Return the messages of the step, and in an unattended run those that key a mode.

        Unattended, the protections are proved before, and that keys a mode.
        """
        before = () if bench.attended else MODES
        return tuple(dict.fromkeys((*before, *self.generator_messages)))

    @property
    def rule(self) -> Decision:
        """The decision rule of the step's points; simple acceptance where none is given."""
        return SimpleAcceptance() if self.decision is None else self.decision

    def judged_points(self) -> tuple[Point, ...]:
        """Return the points whose targets are compared with readings of the current."""
        return ()

    def service_point(self, generator: GeneratorData) -> ServicePoint | None:  # noqa: ARG002
        """Return the adjustment point that the step moves; None for one outside service mode."""
        return None

    def refuse_two_limit_rule(self) -> None:
        """Raise ValueError where the rule needs two limits; for kinds with an upper limit alone."""
        if isinstance(self.decision, NEEDS_TWO_LIMITS):
            kind = self.kind.replace("_", " ")
            raise ValueError(
                f"the rule '{self.decision.rule}' needs two limits and {kind} has one; give step "
                f"'{self.name}' a decision of its own, such as "
                '{ rule = "simple acceptance" }'
            )


class ModeStep(TimedStep):
    """A step that keys a mode."""

    generator_messages: ClassVar[tuple[Verb, ...]] = MODES
    mode: str


class SettingStep(ModeStep):
    """A step that keys a mode at one setting."""

    setting_w: Positive

    def point_names(self) -> tuple[str, ...]:
        """Return the names of all points that must have a result."""
        return tuple(point.name for point in self.points())

    @abstractmethod
    def points(self) -> tuple[Point, ...]:
        """Return each load resistance with its target and decision rule, in measuring order."""

    def stated_targets(self) -> Mapping[str, Target]:
        """Return the target of every point."""
        return {point.name: point.target for point in self.points()}

    def stated_conditions(self) -> Mapping[str, StatedCondition]:
        """Return mode, setting and load of every point."""
        return {
            point.name: StatedCondition(self.mode, point.setting_w, point.load_ohm)
            for point in self.points()
        }

    def judged_points(self) -> tuple[Point, ...]:
        """Return the points with a target of current or power."""
        return tuple(point for point in self.points() if point.target.quantity in _READ)

    def requirements(self, bench: Abilities, timing: Timing) -> Iterator[Complaint]:
        """Complain where mode, setting or time is out of what the bench can do."""
        yield from setting_within_mode(self.mode, self.setting_w, bench)
        yield from time_within_limits(timing.max_on_s, bench)

    def point(
        self,
        load_ohm: float,
        quantity: Quantity,
        value: float,
        tolerance: Tolerance,
        name: str = "",
    ) -> Point:
        """Return a point at the step's setting; without `name` it is named by its load."""
        return Point(
            name=name or f"{load_ohm:g} ohm",
            load_ohm=load_ohm,
            target=target_of(quantity, value, tolerance),
            decision=self.rule,
            setting_w=self.setting_w,
        )


def _person_needed(bench: Abilities) -> Iterator[Complaint]:
    """Yield what an unattended run would need a person for."""
    if not bench.has_port:
        yield "kind", "the generator has no port, so a person must work it"
    if bench.analyzer.has_paths and missing_messages(bench.analyzer_verbs, ("set_path",)):
        yield "kind", "the command set has no 'set_path', so a person must join the input"


def check_one_value_per_load(
    name: str, values: tuple[float, ...], loads_ohm: tuple[float, ...]
) -> None:
    """Raise ValueError where `values` and `loads_ohm` differ in number, or a load stands twice.

    A point is named by its load, so that a record could not tell two at one load apart.
    """
    if len(values) != len(loads_ohm):
        comma = "; a number has a point, as in 40.5" if len(values) > len(loads_ohm) else ""
        raise ValueError(f"{name} has {len(values)} values for {len(loads_ohm)} loads_ohm{comma}")
    names = [f"{load_ohm:g}" for load_ohm in loads_ohm]
    twice = [name for n, name in enumerate(names) if name in names[:n]]
    if twice:
        raise ValueError(f"loads_ohm names {twice[0]} ohm twice; a step measures each load once")
