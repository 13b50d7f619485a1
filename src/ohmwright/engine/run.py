"""A procedure on a bench: an async iterator of events.

RF is off whenever an event is handed out: no `yield` stands inside an activation, so whoever
keeps or shows events may take all the time they need, or stop listening, at no risk.
"""

from __future__ import annotations

from collections.abc import AsyncGenerator, AsyncIterator, Iterable, Iterator, Sequence
from dataclasses import dataclass

from ohmwright import __version__
from ohmwright.instruments.bench import Bench
from ohmwright.model.errors import OhmwrightError, ReleaseNotConfirmed, WrongInstrument
from ohmwright.model.event import (
    Event,
    Fault,
    PointDone,
    RunFinished,
    RunResumed,
    RunStarted,
    StageStarted,
    StepStarted,
)
from ohmwright.model.procedure import (
    STAGES,
    AdjustStep,
    ContactQualityStep,
    InspectionStep,
    InstructionStep,
    LeakageStep,
    OutputStep,
    PowerCurveStep,
    Procedure,
    Stage,
    Step,
    point_names,
)
from ohmwright.model.procedure_file import ProcedureFile
from ohmwright.model.result import Result, Verdict, worst

from .activation import begin_off
from .adjust import adjust_point
from .capability import refuse_impossible
from .manual import contact_quality, inspection, instruction
from .outputs import measured_point
from .session import OnSample, Session, ignore


@dataclass(frozen=True)
class Job:
    """What is to be run: a procedure, which of its stages, and under what number."""

    file: ProcedureFile
    stages: tuple[Stage, ...]
    run_id: str
    earlier: tuple[Event, ...] = ()
    """The events of a run that was cut short and goes on."""

    def done(self) -> frozenset[tuple[Stage, str, str]]:
        """Stage, step and point of every result there is already."""
        return frozenset((r.stage, r.step, r.point) for r in results(self.earlier))


async def run(job: Job, bench: Bench, on_sample: OnSample = ignore) -> AsyncGenerator[Event, None]:
    """Run `job` on `bench`; each event must be kept before the next is asked for.

    Raises ProcedureError before anything is switched on where the bench cannot do what the
    procedure asks. A fault ends the run with a Fault event, then is raised.
    """
    refuse_impossible(job.file, job.stages, bench)
    session = Session(bench, on_sample)
    found: list[Result] = list(results(job.earlier))
    try:
        await begin_off(bench.analyzer, bench.clock)
        if not bench.operator.present:
            await bench.analyzer.prove_watchdog()
        yield await _opening(job, session)
        for stage in job.stages:
            yield StageStarted(**session.stamp(), stage=stage)
            async for event in _stage(job, session, stage):
                if isinstance(event, PointDone):
                    found.append(event.result)
                yield event
        yield RunFinished(
            **session.stamp(),
            verdict=overall(found),
            on_s=round(session.on_s, 3),
            bench_time_s=round(bench.clock.now_s() - session.started_s, 3),
        )
    except OhmwrightError as error:
        unknown = isinstance(error, ReleaseNotConfirmed)
        yield Fault(
            **session.stamp(),
            error=type(error).__name__,
            message=str(error),
            rf_state="unknown" if unknown else "off",
        )
        raise


def results(events: Iterable[Event]) -> Iterator[Result]:
    """The results among `events`."""
    return (event.result for event in events if isinstance(event, PointDone))


def overall(found: Sequence[Result]) -> Verdict:
    """The verdict of a run: that of its last stage with results, and of its adjustments.

    What was found out of tolerance and left inside it is no failure of the run.
    """
    measured = [r.stage for r in found if r.stage != "adjust"]
    last = max(measured, key=STAGES.index, default="adjust")
    return worst(r.verdict for r in found if r.stage in (last, "adjust"))


async def _opening(job: Job, session: Session) -> Event:
    bench, procedure = session.bench, job.file.procedure
    if job.earlier:
        await _refuse_others(job, bench)
        return RunResumed(**session.stamp(), operator=bench.operator.name, done=len(job.done()))
    return RunStarted(
        **session.stamp(),
        run_id=job.run_id,
        procedure=procedure.title,
        revision=procedure.revision,
        procedure_digest=job.file.digest,
        stages=job.stages,
        bench=bench.name,
        analyzer=await bench.analyzer.identify(),
        generator=await bench.generator.identify(),
        asset=bench.asset,
        operator=bench.operator.name,
        software=f"ohmwright {__version__}",
        seed=bench.seed,
    )


async def _refuse_others(job: Job, bench: Bench) -> None:
    """Only the units that a run was begun with may go on with it."""
    started = next((event for event in job.earlier if isinstance(event, RunStarted)), None)
    if started is None:
        return
    for role, there, begun_with in (
        ("analyzer", await bench.analyzer.identify(), started.analyzer),
        ("generator", await bench.generator.identify(), started.generator),
    ):
        if there != begun_with:
            raise WrongInstrument(
                f"The {role} is '{there}'; run {started.run_id} was begun with '{begun_with}'.",
                "Results of two units would not fit together. Nothing was switched on.",
                f"Connect the {role} of that run, or start a new run.",
            )


async def _stage(job: Job, session: Session, stage: Stage) -> AsyncIterator[Event]:
    done = job.done()
    for step in job.file.procedure.steps_in(stage):
        points = point_names(step)
        missing = tuple(point for point in points if (stage, step.name, point) not in done)
        if points and not missing:
            continue
        yield StepStarted(**session.stamp(), stage=stage, step=step.name)
        async for event in _step(job.file.procedure, session, stage, step, missing):
            yield event
    if stage == "adjust":
        await session.bench.generator.leave_service()


async def _step(
    procedure: Procedure, session: Session, stage: Stage, step: Step, missing: tuple[str, ...]
) -> AsyncIterator[Event]:
    match step:
        case OutputStep() | PowerCurveStep() | LeakageStep():
            for point in step.points():
                if point.name in missing:
                    async for event in measured_point(
                        session, stage, step, point, procedure.timing(step)
                    ):
                        yield event
        case AdjustStep():
            async for event in adjust_point(session, step, procedure.timing(step)):
                yield event
        case ContactQualityStep():
            async for event in contact_quality(session, stage, step):
                yield event
        case InspectionStep():
            async for event in inspection(session, stage, step):
                yield event
        case InstructionStep():
            async for event in instruction(session, step):
                yield event
