"""The steps of one stage in their order, and what a person does to that order."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from ohmwright.adjustment.fleet_prior import FleetPrior
from ohmwright.instruments.operator import GoBack, SkipStep
from ohmwright.model.event import Event, ServiceLeft, StepStarted
from ohmwright.model.result import Result, latest
from ohmwright.model.step import Stage

from .adjustment_start import diagnoses, priors_of_points
from .prior_of_point import PriorOfPoint
from .procedure import Procedure
from .session import Session
from .steps.base import Step, StepRun, TimedStep

PointKey = tuple[Stage, str, str]
"""Stage, step and point."""


def finished_points(procedure: Procedure, found: Iterable[Result]) -> frozenset[PointKey]:
    """Every point that needs no doing when a run goes on, by what its step says of its result."""
    steps = {step.name: step for step in procedure.step}
    return frozenset(
        (r.stage, r.step, r.point)
        for r in latest(found)
        if r.step not in steps or steps[r.step].is_finished_by(r)
    )


@dataclass
class _Walk:
    """Where in a stage a run is. A step that a person went back to is done anew, all of it."""

    procedure: Procedure
    stage: Stage
    found: Sequence[Result]
    finished_points: frozenset[PointKey]
    at: int = 0
    begun: int = 0
    """How many results there were when the step began."""
    again: set[str] = field(default_factory=set)

    @property
    def steps(self) -> tuple[Step, ...]:
        """The steps of the stage."""
        return self.procedure.steps_in(self.stage)

    def missing(self, step: Step) -> tuple[str, ...]:
        """The points of `step` that are to be done."""
        return tuple(
            point
            for point in step.point_names()
            if step.name in self.again or (self.stage, step.name, point) not in self.finished_points
        )

    def needs(self, step: Step) -> bool:
        """Whether there is something to do; what has no points is always to be done."""
        return step.point_names() == () or self.missing(step) != ()

    def go_back(self, *, from_its_start: bool) -> None:
        """To the start of the step, or of the one before it where this one had just begun."""
        self.at = max(0, self.at - (1 if from_its_start else 0))
        self.again.update(step.name for step in self.steps[self.at : self.at + 1])

    def rf_follows(self, *, by_port: bool) -> bool:
        """Whether what is done next keys the output without a person's being asked before."""
        coming = next((step for step in self.steps[self.at + 1 :] if self.needs(step)), None)
        return by_port and isinstance(coming, TimedStep)


async def stage_events(
    procedure: Procedure,
    session: Session,
    stage: Stage,
    found: Sequence[Result],
    fleet: Mapping[str, FleetPrior],
) -> AsyncIterator[Event]:
    """The events of `stage`; `found` are the results so far, those to come included.

    Raises StopRun where a person says so. A skip ends the step, its results `not measured`. Going
    back begins the step anew, or the one before where nothing else was answered in this one.
    """
    known = dict[str, PriorOfPoint]()
    if stage == "adjust":
        known = priors_of_points(procedure, session.bench.generator.data, found, fleet)
        for diagnosis in diagnoses(session, procedure, found, known):
            yield diagnosis
    walk = _Walk(procedure, stage, found, finished_points(procedure, found))
    while walk.at <= len(walk.steps):
        answered = session.answered
        try:
            if walk.at < len(walk.steps):
                async for event in _at(walk, session, known):
                    yield event
            elif stage == "adjust":
                await session.bench.generator.leave_service()
                session.service = None
            walk.at += 1
        except (SkipStep, GoBack) as said:
            async for event in _given_up(walk, session, said):
                yield event
            if isinstance(said, GoBack):
                walk.go_back(from_its_start=session.answered == answered)
            else:
                walk.at += 1


async def _at(
    walk: _Walk, session: Session, known: Mapping[str, PriorOfPoint]
) -> AsyncIterator[Event]:
    """The events of the step at which the walk is, if it needs doing."""
    step, stage = walk.steps[walk.at], walk.stage
    if not walk.needs(step):
        return
    walk.begun = len(walk.found)
    missing = walk.missing(step)
    yield StepStarted(**session.stamp(), stage=stage, step=step.name)
    earlier = [r for r in latest(walk.found) if (r.stage, r.step) == (stage, step.name)]
    work = StepRun(
        session,
        stage,
        walk.procedure.timing(step),
        missing,
        [result for result in earlier if result.point not in missing],
        walk.rf_follows(by_port=session.bench.generator.unattended),
        known,
    )
    async for event in step.run(work):
        yield event


async def _given_up(walk: _Walk, session: Session, said: SkipStep | GoBack) -> AsyncIterator[Event]:
    """What was moved and not stored is undone; what is skipped has its results."""
    async for event in _undone(session):
        yield event
    if not isinstance(said, SkipStep) or walk.at >= len(walk.steps):
        return
    step = walk.steps[walk.at]
    new = {r.point for r in walk.found[walk.begun :]}
    for point in walk.missing(step):
        if point not in new:
            result = Result(
                stage=walk.stage,
                step=step.name,
                point=point,
                kind=step.kind,
                verdict="not measured",
                reason=said.reason,
            )
            yield session.point_done(result, "none")


async def _undone(session: Session) -> AsyncIterator[Event]:
    """Leave service mode without saving where something was moved; that cannot be skipped."""
    service, generator = session.service, session.bench.generator
    while service is not None and service.moved:
        try:
            await generator.leave_unsaved()
        except (SkipStep, GoBack):
            continue
        session.service = None
        yield ServiceLeft(**session.stamp(), point=service.point, told_by=session.told_by)
        return
