"""A procedure on a bench: an async iterator of events.

RF is off whenever an event is handed out: no `yield` stands inside an activation, so whoever
keeps or shows events may take all the time they need, or stop listening, at no risk.
"""

from __future__ import annotations

from collections.abc import AsyncGenerator, AsyncIterator, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from ohmwright import __version__
from ohmwright.instruments.bench import Bench
from ohmwright.metrology.fleet_prior import FleetPrior
from ohmwright.model import last_of_rf
from ohmwright.model.errors import ReleaseNotConfirmed, WrongInstrument
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
    CrestFactorStep,
    HalfAndFullStep,
    InspectionStep,
    InstructionStep,
    LeakageStep,
    MonotonicityStep,
    OutputStep,
    PowerCurveStep,
    Procedure,
    Stage,
    Step,
    point_names,
)
from ohmwright.model.procedure_file import ProcedureFile
from ohmwright.model.result import Result, Verdict, worst
from ohmwright.model.step import ModeStep
from ohmwright.model.traceability import Traceability

from .activation import begin_off
from .adjust import Known, adjust_point
from .capability import refuse_impossible
from .contact_quality import contact_quality
from .control import monotonicity
from .crest_factor import crest_factor
from .diagnosing import diagnoses, known_points
from .manual import inspection, instruction
from .outputs import measured_point
from .proving import limit_proof
from .session import OnSample, Session, ignore
from .traceable import accuracy_of, refuse_foreign, traceability_of


@dataclass(frozen=True)
class Job:
    """What is to be run: a procedure, which of its stages, and under what number."""

    file: ProcedureFile
    stages: tuple[Stage, ...]
    run_id: str
    earlier: tuple[Event, ...] = ()
    """The events of a run that was cut short and goes on."""
    fleet: Mapping[str, FleetPrior] = field(default_factory=dict)
    """What earlier units of the model taught, by adjustment point."""
    accept_expired: bool = False
    """Someone has chosen to measure with an analyzer whose calibration is past its date."""

    def done(self) -> frozenset[tuple[Stage, str, str]]:
        """Stage, step and point of every result there is already."""
        return frozenset((r.stage, r.step, r.point) for r in results(self.earlier))


async def run(job: Job, bench: Bench, on_sample: OnSample = ignore) -> AsyncGenerator[Event, None]:
    """Run `job` on `bench`; each event must be kept before the next is asked for.

    Before anything is switched on, raises ProcedureError where the bench cannot do what the
    procedure asks, and CertificateExpired where the analyzer's calibration is past its date. A
    fault ends the run with a Fault event, then is raised.
    """
    refuse_impossible(job.file, job.stages, bench)
    traceability = traceability_of(bench, accept_expired=job.accept_expired)
    session = Session(bench, on_sample, accuracy_of(bench))
    found: list[Result] = list(results(job.earlier))
    try:
        await begin_off(bench.analyzer, bench.clock)
        if not bench.operator.present:
            await bench.analyzer.prove_watchdog()
        yield await _opening(job, session, traceability)
        if not bench.operator.present and _keys_the_output(job):
            async for event in limit_proof(session):
                yield event
        for stage in job.stages:
            yield StageStarted(**session.stamp(), stage=stage)
            async for event in _stage(job, session, stage, found):
                if isinstance(event, PointDone):
                    found.append(event.result)
                yield event
        yield RunFinished(
            **session.stamp(),
            verdict=overall(found),
            on_s=round(session.on_s, 3),
            bench_time_s=round(bench.clock.now_s() - session.started_s, 3),
        )
    except Exception as error:  # a crash is on record, too
        unknown = isinstance(error, ReleaseNotConfirmed) or last_of_rf.is_unknown()
        yield Fault(
            **session.stamp(),
            error=type(error).__name__,
            message=str(error),
            rf_state="unknown" if unknown else "off",
        )
        raise


def _keys_the_output(job: Job) -> bool:
    steps = (step for stage in job.stages for step in job.file.procedure.steps_in(stage))
    return any(isinstance(step, ModeStep | AdjustStep) for step in steps)


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


async def _opening(job: Job, session: Session, traceability: Traceability | None) -> Event:
    bench, procedure = session.bench, job.file.procedure
    analyzer, generator = await bench.analyzer.identify(), await bench.generator.identify()
    refuse_foreign(bench, analyzer)
    if job.earlier:
        _refuse_others(job, analyzer, generator)
        return RunResumed(
            **session.stamp(),
            operator=bench.operator.name,
            done=len(job.done()),
            traceability=traceability,
            environment=bench.environment,
        )
    return RunStarted(
        **session.stamp(),
        run_id=job.run_id,
        procedure=procedure.title,
        revision=procedure.revision,
        procedure_digest=job.file.digest,
        stages=job.stages,
        bench=bench.name,
        analyzer=analyzer,
        generator=generator,
        asset=bench.asset,
        operator=bench.operator.name,
        software=f"ohmwright {__version__}",
        traceability=traceability,
        environment=bench.environment,
        seed=bench.seed,
    )


def _refuse_others(job: Job, analyzer: str, generator: str) -> None:
    """Only the units that a run was begun with may go on with it."""
    started = next((event for event in job.earlier if isinstance(event, RunStarted)), None)
    if started is None:
        return
    for role, there, begun_with in (
        ("analyzer", analyzer, started.analyzer),
        ("generator", generator, started.generator),
    ):
        if there != begun_with:
            raise WrongInstrument(
                f"The {role} is '{there}'; run {started.run_id} was begun with '{begun_with}'.",
                "Results of two units would not fit together. Nothing was switched on.",
                f"Connect the {role} of that run, or start a new run.",
            )


async def _stage(
    job: Job, session: Session, stage: Stage, found: Sequence[Result]
) -> AsyncIterator[Event]:
    done, known = job.done(), dict[str, Known]()
    if stage == "adjust":
        procedure, generator = job.file.procedure, session.bench.generator.data
        known = known_points(procedure, generator, found, job.fleet)
        for diagnosis in diagnoses(session, procedure, found, known):
            yield diagnosis
    for step in job.file.procedure.steps_in(stage):
        points = point_names(step)
        missing = tuple(point for point in points if (stage, step.name, point) not in done)
        if points and not missing:
            continue
        yield StepStarted(**session.stamp(), stage=stage, step=step.name)
        earlier = [r for r in found if (r.stage, r.step) == (stage, step.name)]
        async for event in _step(job.file.procedure, session, stage, step, missing, earlier, known):
            yield event
    if stage == "adjust":
        await session.bench.generator.leave_service()


async def _step(
    procedure: Procedure,
    session: Session,
    stage: Stage,
    step: Step,
    missing: tuple[str, ...],
    earlier: Sequence[Result],
    known: Mapping[str, Known],
) -> AsyncIterator[Event]:
    """The events of the points of `step` that are missing; `earlier` are those it has."""
    match step:
        case OutputStep() | PowerCurveStep() | HalfAndFullStep() | LeakageStep():
            for point in step.points():
                if point.name in missing:
                    async for event in measured_point(
                        session, stage, step, point, procedure.timing(step)
                    ):
                        yield event
        case MonotonicityStep():
            async for event in monotonicity(session, stage, step, procedure.timing(step), earlier):
                yield event
        case CrestFactorStep():
            async for event in crest_factor(session, stage, step, procedure.timing(step)):
                yield event
        case AdjustStep():
            async for event in adjust_point(
                session, step, procedure.timing(step), known[step.name]
            ):
                yield event
        case ContactQualityStep():
            async for event in contact_quality(session, stage, step, missing):
                yield event
        case InspectionStep():
            async for event in inspection(session, stage, step):
                yield event
        case InstructionStep():
            async for event in instruction(session, step):
                yield event
