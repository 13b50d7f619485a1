"""What every step kind is: data of a procedure that knows what it requires and how it is run.

A new kind is a module of this package with one class, derived from the base that fits:
`PersonStep` (a person alone), `InstrumentStep` (instruments, no RF), `TimedStep` (switches RF on),
`ModeStep` (keys a mode), `SettingStep` (keys a mode at one setting).
"""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import AsyncIterator, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

from ohmwright.engine.prior_of_point import PriorOfPoint
from ohmwright.engine.requirements import (
    Abilities,
    Complaint,
    full_current_within_range,
    setting_within_mode,
    time_within_limits,
)
from ohmwright.engine.session import Session
from ohmwright.instruments.required_messages import MODES, missing_messages
from ohmwright.model.base import FrozenModel
from ohmwright.model.decision import Decision, SimpleAcceptance
from ohmwright.model.event import Event
from ohmwright.model.hardware import NotNegative, Positive
from ohmwright.model.quantity import Quantity
from ohmwright.model.result import Result
from ohmwright.model.step import MEASURED, Name, Point, Stage, Timing
from ohmwright.model.tolerance import Tolerance, target_of
from ohmwright.wire.command_set import Verb


@dataclass(frozen=True)
class StepRun:
    """One step of one stage under way."""

    session: Session
    stage: Stage
    timing: Timing
    missing: tuple[str, ...]
    """The points that have no result yet."""
    earlier: Sequence[Result]
    """The results that its other points have."""
    rf_follows: bool
    """Whether what comes next keys the output without a person's being asked before."""
    priors: Mapping[str, PriorOfPoint]
    """What is known of each adjust step before it is begun, by its name."""


class Step(FrozenModel):
    """One step of a procedure."""

    kind: str
    name: Name
    stages: tuple[Stage, ...] = MEASURED
    note: str = ""
    analyzer_messages: ClassVar[tuple[Verb, ...]] = ()
    """Messages that the analyzer's command set must have beside the ones for any activation."""
    generator_messages: ClassVar[tuple[Verb, ...]] = ()
    """Messages that the command set of a generator with a port must have."""

    @abstractmethod
    def point_names(self) -> tuple[str, ...]:
        """Every point that must have a result; none for an instruction."""

    @abstractmethod
    def run(self, work: StepRun) -> AsyncIterator[Event]:
        """Carry the step out: the events of its points, RF off whenever one is handed out."""

    @abstractmethod
    def complaints(self, bench: Abilities, timing: Timing) -> Iterator[Complaint]:
        """What `bench` cannot do of it; `timing`: its times, the procedure's defaults included."""

    def is_finished_by(self, result: Result) -> bool:  # noqa: ARG002
        """Whether a point with this result needs no doing when a run goes on."""
        return True


class PersonStep(Step):
    """A step that a person does, with no instrument."""

    def complaints(self, bench: Abilities, timing: Timing) -> Iterator[Complaint]:  # noqa: ARG002
        """There must be a person."""
        if not bench.attended:
            yield "kind", "it needs a person, and the run is unattended"


class InstrumentStep(Step):
    """A step that works the instruments."""

    def complaints(self, bench: Abilities, timing: Timing) -> Iterator[Complaint]:
        """Whoever works them is there, and command sets have its messages."""
        if not bench.attended:
            yield from _needs_a_person(bench)
        yield from self._unsayable(bench)
        yield from self.requirements(bench, timing)

    @abstractmethod
    def requirements(self, bench: Abilities, timing: Timing) -> Iterator[Complaint]:
        """What this kind requires of instruments and data, and `bench` lacks."""

    def _unsayable(self, bench: Abilities) -> Iterator[Complaint]:
        for who, verbs, needed in (
            ("analyzer", bench.analyzer_verbs, self.analyzer_messages),
            ("generator", bench.generator_verbs, self._to_generator(bench)),
        ):
            if missing := missing_messages(verbs, needed):
                yield "kind", f"the {who}'s command set has no {missing}"

    def _to_generator(self, bench: Abilities) -> tuple[Verb, ...]:  # noqa: ARG002
        return self.generator_messages


class TimedStep(InstrumentStep):
    """A step that switches RF on. Times that it does not give are the procedure's."""

    age_s: Positive | None = None
    rest_s: NotNegative | None = None
    max_on_s: Positive | None = None
    decision: Decision | None = None

    def _to_generator(self, bench: Abilities) -> tuple[Verb, ...]:
        """Before an unattended run the protections are proved, and that keys a mode."""
        before = () if bench.attended else MODES
        return tuple(dict.fromkeys((*before, *self.generator_messages)))

    @property
    def rule(self) -> Decision:
        """The decision rule of its points."""
        return SimpleAcceptance() if self.decision is None else self.decision


class ModeStep(TimedStep):
    """A step that keys a mode."""

    generator_messages: ClassVar[tuple[Verb, ...]] = MODES
    mode: str


class SettingStep(ModeStep):
    """A step that keys a mode at one setting."""

    setting_w: Positive

    def point_names(self) -> tuple[str, ...]:
        """The names of `points`."""
        return tuple(point.name for point in self.points())

    @abstractmethod
    def points(self) -> tuple[Point, ...]:
        """Each load resistance with its target and how that is decided."""

    def requirements(self, bench: Abilities, timing: Timing) -> Iterator[Complaint]:
        """Mode, setting and time."""
        yield from setting_within_mode(self.mode, self.setting_w, bench)
        yield from time_within_limits(timing.max_on_s, bench)

    def full_current(self, load_ohm: float, bench: Abilities) -> Iterator[Complaint]:
        """The meter can show what the setting may drive through `load_ohm`."""
        mode = bench.generator.mode(self.mode)
        yield from full_current_within_range(mode, self.setting_w, load_ohm, bench)

    def point(
        self,
        load_ohm: float,
        quantity: Quantity,
        value: float,
        tolerance: Tolerance,
        name: str = "",
    ) -> Point:
        """A point at the step's setting, named by its load resistance where `name` is empty."""
        return Point(
            name=name or f"{load_ohm:g} ohm",
            load_ohm=load_ohm,
            target=target_of(quantity, value, tolerance),
            decision=self.rule,
            setting_w=self.setting_w,
        )


def _needs_a_person(bench: Abilities) -> Iterator[Complaint]:
    """What keeps an unattended run from working the instruments."""
    if not bench.has_port:
        yield "kind", "the generator has no port, so a person must work it"
    if bench.analyzer.has_paths and missing_messages(bench.analyzer_verbs, ("set_path",)):
        yield "kind", "the command set has no 'set_path', so a person must join the input"
    if not bench.analyzer.activation.bounded:
        yield "kind", "the analyzer bounds no activation by itself, so a person must stand by"


def one_value_a_load(name: str, values: tuple[float, ...], loads_ohm: tuple[float, ...]) -> None:
    """Raise ValueError where `values` and `loads_ohm` differ in number."""
    if len(values) != len(loads_ohm):
        raise ValueError(f"{name} has {len(values)} values for {len(loads_ohm)} loads_ohm")
