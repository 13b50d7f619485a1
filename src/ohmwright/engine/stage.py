"""The steps of one stage in their order; a person may skip a step or go back."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from ohmwright.adjustment.fleet_prior import FleetPrior
from ohmwright.instruments.operator import GoBack, SkipStep
from ohmwright.model.errors import LoadNotConnected
from ohmwright.model.event import Event
from ohmwright.model.result import Result, latest
from ohmwright.model.step import Stage

from .adjusting_again import AdjustingAgain
from .adjustment_start import diagnosis_events, priors_of_points
from .lost_load import reason_to_go_without
from .prior_of_point import PriorOfPoint
from .procedure import Procedure
from .service_exit import leave_if_moved
from .session import Session
from .steps.base import Step, StepRun, TimedStep

PointKey = tuple[Stage, str, str]
"""Stage, step and point of a result."""


def finished_points(procedure: Procedure, results: Iterable[Result]) -> frozenset[PointKey]:
    """Return every point that is not measured again when a run is resumed.

    Its step decides that by the point's latest result (`Step.is_finished_by`). An output that was
    measured as left before a point was adjusted again is measured once more.
    """
    steps, results = {step.name: step for step in procedure.step}, tuple(results)
    adjusted = [i for i, result in enumerate(results) if result.again == "adjusted"]
    void = {id(r) for r in results[: adjusted[-1]] if r.stage == "as_left"} if adjusted else set()
    return frozenset(
        (r.stage, r.step, r.point)
        for r in latest(results)
        if (r.step not in steps or steps[r.step].is_finished_by(r))
        and (id(r) not in void or r.mode is None)
    )


@dataclass
class _StageProgress:
    """How far a run is in a stage; a step that a person went back to is done again, all of it."""

    procedure: Procedure
    stage: Stage
    results: Sequence[Result]
    """All results of the run so far; grows while the stage goes on."""
    finished_points: frozenset[PointKey]
    index: int = 0
    """Of the current step among `steps`; their number when all are done."""
    results_before_step: int = 0
    """Number of results when the current step began."""
    repeated_steps: set[str] = field(default_factory=set)
    """Names of the steps that are done again."""
    checks_over: bool = False
    """Whether points that later trims may have moved were checked, or a person skipped that."""

    def __post_init__(self) -> None:
        for place, step in enumerate(self.steps):
            others_missing = any(self.missing(other) for other in self.steps[place + 1 :])
            if step.wears_off and others_missing and not self.missing(step):
                self.repeated_steps.add(step.name)

    @property
    def steps(self) -> tuple[Step, ...]:
        """The steps of the stage, in the order of the procedure."""
        return self.procedure.steps_in(self.stage)

    def missing(self, step: Step) -> tuple[str, ...]:
        """Return the names of the points of `step` that are to be measured."""
        return tuple(
            point
            for point in step.point_names()
            if step.name in self.repeated_steps
            or (self.stage, step.name, point) not in self.finished_points
        )

    @property
    def step(self) -> Step | None:
        """The current step; None once all are done."""
        return self.steps[self.index] if self.index < len(self.steps) else None

    def left_of(self, step: Step) -> tuple[str, ...]:
        """Return the points of the current step that have no result since it began."""
        new = {result.point for result in self.results[self.results_before_step :]}
        return tuple(point for point in self.missing(step) if point not in new)

    @property
    def place(self) -> str:
        """Step and point at which the stage is, in words."""
        if self.step is None:
            return "A check of points that were adjusted"
        return ", point ".join((f"Step '{self.step.name}'", *self.left_of(self.step)[:1]))

    def needs_doing(self, step: Step) -> bool:
        """Return whether `step` has points to be measured, or never has any."""
        return step.point_names() == () or self.missing(step) != ()

    def go_back(self, *, from_its_start: bool) -> None:
        """Repeat the current step, or the one before where this one had just begun."""
        self.index = max(0, self.index - (1 if from_its_start else 0))
        self.checks_over = False
        self.repeated_steps.update(step.name for step in self.steps[self.index : self.index + 1])

    def go_on(self) -> None:
        """Go on to the next step, or to the first one that trims moved after it have made void."""
        self.index += 1
        finished = finished_points(self.procedure, self.results)
        if self.index > len(self.steps) and not self.finished_points <= finished:
            self.index, self.checks_over = 0, False
        self.finished_points = finished

    def skip(self) -> None:
        """Leave the current step, or the checks that follow the steps of adjusting."""
        if self.index == len(self.steps) and not self.checks_over:
            self.checks_over = True
        else:
            self.index += 1

    def rf_follows(self, *, by_port: bool) -> bool:
        """Return whether the next step keys the output without asking a person before."""
        rest = self.steps[self.index + 1 :]
        coming = next((step for step in rest if self.needs_doing(step)), None)
        return by_port and isinstance(coming, TimedStep)


async def stage_events(
    procedure: Procedure,
    session: Session,
    stage: Stage,
    results: Sequence[Result],
    fleet: Mapping[str, FleetPrior],
    *,
    as_left_follows: bool,
) -> AsyncIterator[Event]:
    """Do the steps of `stage` and yield their events.

    `results`: all results so far; the caller appends those of this stage as they come;
    `as_left_follows`: whether the run has an as-left stage. A skip ends the step, and its missing
    points are "not measured". Going back begins the step anew, or the one before where nothing was
    answered yet in this one. Raises StopRun where a person stops the run.
    """
    priors = priors_of_points(procedure, session.bench.generator.data, results, fleet)
    if stage == "adjust":
        for diagnosis in diagnosis_events(session, procedure, results, priors):
            yield diagnosis
    progress = _StageProgress(procedure, stage, results, finished_points(procedure, results))
    again = AdjustingAgain(procedure, session, results, priors, as_left_follows)
    while progress.index <= len(progress.steps):
        answers_before = session.answers_given
        try:
            if progress.index < len(progress.steps):
                async for event in _step_events(progress, session, priors):
                    yield event
            elif stage != "as_found":
                async for event in _closing_events(progress, session, again):
                    yield event
            progress.go_on()
        except (SkipStep, GoBack, LoadNotConnected) as ended_by:
            choice = await _choice(progress, session, ended_by)
            async for event in _interruption_events(progress, session, choice, again):
                yield event
            if isinstance(choice, GoBack):
                progress.go_back(from_its_start=session.answers_given == answers_before)
            else:
                progress.skip()


async def _choice(
    progress: _StageProgress, session: Session, ended_by: SkipStep | GoBack | LoadNotConnected
) -> SkipStep | GoBack:
    """Return how the stage goes on; where a load was lost, a skip or one more try of the step."""
    if not isinstance(ended_by, LoadNotConnected):
        return ended_by
    if progress.step is not None and progress.step.chooses_on_fault:
        raise ended_by
    try:
        reason = await reason_to_go_without(session, ended_by, progress.place)
    except (SkipStep, GoBack) as choice:
        return choice
    return GoBack() if reason is None else SkipStep(reason)


async def _closing_events(
    progress: _StageProgress, session: Session, again: AdjustingAgain
) -> AsyncIterator[Event]:
    """Adjust again what later trims have moved, then leave service mode; yield the events."""
    if not progress.checks_over:
        async for event in again.events():
            yield event
        progress.checks_over = True
    to_be_left = progress.stage == "adjust" and not session.service_was_left
    if to_be_left or session.service is not None:
        await session.bench.generator.leave_service()
        session.left_service()


async def _step_events(
    progress: _StageProgress, session: Session, priors: Mapping[str, PriorOfPoint]
) -> AsyncIterator[Event]:
    """Run the current step and yield its events; none where it needs no doing."""
    step, stage = progress.steps[progress.index], progress.stage
    if not progress.needs_doing(step):
        return
    progress.results_before_step = len(progress.results)
    missing = progress.missing(step)
    yield step.started(session, stage)
    of_stage = [result for result in latest(progress.results) if result.stage == stage]
    work = StepRun(
        session,
        stage,
        progress.procedure.timing(step),
        missing,
        [r for r in of_stage if r.step == step.name and r.point not in missing],
        progress.rf_follows(by_port=session.bench.generator.unattended),
        priors,
        {result.step: result.said for result in of_stage if result.said},
    )
    async for event in step.run(work):
        yield event


async def _interruption_events(
    progress: _StageProgress, session: Session, choice: SkipStep | GoBack, again: AdjustingAgain
) -> AsyncIterator[Event]:
    """Undo moves that were not stored; yield "not measured" for each missing point of a skip."""
    async for event in leave_if_moved(session):
        yield event
    if not isinstance(choice, SkipStep):
        return
    if progress.index >= len(progress.steps):
        for result in () if progress.checks_over else again.skipped_results(choice):
            yield session.point_done(result, "none")
        return
    step = progress.steps[progress.index]
    for point in progress.left_of(step):
        result = Result(
            stage=progress.stage,
            step=step.name,
            point=point,
            kind=step.kind,
            verdict="not measured",
            reason=choice.reason,
        )
        yield session.point_done(result, "none")
