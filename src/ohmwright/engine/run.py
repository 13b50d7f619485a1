"""Runs a procedure on a bench, as an async iterator of events.

RF is off whenever an event is handed out: no `yield` stands inside an activation, so whoever
keeps or shows events may take all the time they need, or stop listening, at no risk.
"""

from __future__ import annotations

from collections.abc import AsyncGenerator, AsyncIterator, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from ohmwright import __version__
from ohmwright.adjustment.fleet_prior import FleetPrior
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.operator import StopRun
from ohmwright.model.assignment import NO_ASSIGNMENT, PROGRAM, Assignment
from ohmwright.model.bench_status import OnStatus, ignore_status
from ohmwright.model.document import DocumentRef
from ohmwright.model.errors import Stopped
from ohmwright.model.event import (
    Commented,
    DocumentKept,
    Event,
    Fault,
    FileAttached,
    Foretold,
    PointDone,
    RunFinished,
    RunResumed,
    RunStarted,
    StageStarted,
)
from ohmwright.model.result import Result, Verdict, latest, worst
from ohmwright.model.step import STAGES, Stage
from ohmwright.model.traceability import Traceability
from ohmwright.wire.event_loop import refuse_other_event_loop

from .capability import refuse_impossible
from .foresight import foreseen
from .pending_events import PendingEvents
from .procedure_file import ProcedureFile
from .protection_self_test import protection_self_test
from .release import ensure_off_after, ensure_off_at_start
from .requirements import abilities_of
from .resume import (
    bench_time_s,
    documents_not_in_record,
    on_time_s,
    refuse_another_job,
    refuse_other_instruments,
)
from .service_exit import service_left_on_exit
from .session import Session
from .stage import finished_points, stage_events
from .steps.base import TimedStep
from .traceability import accuracy_of, refuse_foreign, traceability_of, untied_certificate
from .unit_identity import identified_unit, refuse_another_unit

SOFTWARE = f"ohmwright {__version__}"
"""Name and version of this program, as records carry them."""


@dataclass(frozen=True)
class Job:
    """A procedure to be run, its stages, the number of the run, and what is known before."""

    file: ProcedureFile
    stages: tuple[Stage, ...]
    run_id: str
    earlier: tuple[Event, ...] = ()
    """The events so far of a run that is resumed; empty for a new run."""
    fleet: Mapping[str, FleetPrior] = field(default_factory=dict)
    """What earlier units of the model say of gain and lag, by adjustment point."""
    accept_expired: bool = False
    """Whether an analyzer whose calibration is past its date may be used."""
    assignment: Assignment = NO_ASSIGNMENT
    """What the run is done for."""

    def finished_points(self) -> frozenset[tuple[Stage, str, str]]:
        """Return stage, step and point of every point that is not measured again."""
        return finished_points(self.file.procedure, results(self.earlier))


async def run(
    job: Job,
    bench: Bench,
    on_status: OnStatus = ignore_status,
    pending: PendingEvents | None = None,
) -> AsyncGenerator[Event, None]:
    """Run `job` on `bench` and yield its events; keep each event before asking for the next.

    After a cancellation, `pending` holds the events that could not be yielded any more. Before
    anything is switched on, raises ProcedureError where the bench cannot do what the
    procedure asks, CertificateExpired where the analyzer's calibration is past its date, and
    UsageError where a run that goes on was begun with another unit, bench, procedure or data. A
    fault ends the run with a Fault event, then is raised.
    """
    refuse_other_event_loop()
    unit, assignment = bench.unit, job.assignment
    refuse_another_job(
        job.earlier,
        stages=job.stages,
        procedure_digest=job.file.digest,
        bench=bench.name,
        asset=unit,
        documents=[one.ref for one in bench.documents],
    )
    refuse_impossible(job.file, job.stages, bench, assignment.given)
    if job.earlier:
        bench.clock.go_on_after(job.earlier[-1].at)
    traceability = traceability_of(bench, accept_expired=job.accept_expired)
    pending = PendingEvents() if pending is None else pending
    session = Session(bench, on_status, accuracy_of(bench), pending, assignment.given)
    try:
        async with service_left_on_exit(session):
            async for event in _events(job, session, traceability):
                for earlier in pending.take():
                    yield earlier
                yield event
    except StopRun:
        error: Exception = Stopped(f"The run was stopped by {bench.operator.name}.")
    except Exception as caught:  # a crash is on record, too
        error = caught
    else:
        return
    ended_by = await ensure_off_after(error, bench, pending, on_status)
    for event in pending.take():
        yield event
    yield fault_event(ended_by, bench, pending)
    if not isinstance(ended_by, Stopped):
        raise ended_by


def fault_event(error: Exception, bench: Bench, pending: PendingEvents) -> Fault:
    """Return the event of a run that `error` ended, with RF as it was read last."""
    return Fault(
        at=bench.clock.wall(),
        bench_s=round(bench.clock.now_s(), 6),
        error=type(error).__name__,
        message=str(error),
        rf_state=bench.rf.state,
        left_open=pending.left_open,
        on_s=round(pending.on_s, 3),
    )


async def _events(
    job: Job, session: Session, traceability: Traceability | None
) -> AsyncIterator[Event]:
    bench, found = session.bench, list(results(job.earlier))
    await ensure_off_at_start(bench)
    session.report_rf_state()
    if not bench.operator.present:
        await bench.analyzer.prove_watchdog()
    async for event in _opening_events(job, session, traceability):
        yield event
    if not bench.operator.present and _keys_the_output(job):
        async for event in protection_self_test(session):
            yield event
    for stage in job.stages:
        yield StageStarted(**session.stamp(), stage=stage)
        async for event in stage_events(
            job.file.procedure,
            session,
            stage,
            found,
            job.fleet,
            as_left_follows="as_left" in job.stages,
        ):
            if isinstance(event, PointDone):
                found.append(event.result)
            yield event
    yield RunFinished(
        **session.stamp(),
        verdict=overall_verdict(found),
        on_s=round(on_time_s(job.earlier) + session.on_s, 3),
        bench_time_s=round(bench_time_s(job.earlier) + session.bench_time_s, 3),
    )


def _keys_the_output(job: Job) -> bool:
    steps = (step for stage in job.stages for step in job.file.procedure.steps_in(stage))
    return any(isinstance(step, TimedStep) for step in steps)


def results(events: Iterable[Event]) -> Iterator[Result]:
    """Yield the result of each finished point among `events`."""
    return (event.result for event in events if isinstance(event, PointDone))


def overall_verdict(found: Sequence[Result]) -> Verdict:
    """Return the worst verdict of a run's points, each by the last stage that measured it.

    A point that was found out of tolerance and left inside it has not failed; one that was not
    measured again has.
    """
    now = sorted(latest(found), key=lambda result: STAGES.index(result.stage))
    adjusted = [result.verdict for result in now if result.stage == "adjust"]
    measured = {(r.step, r.point): r.verdict for r in now if r.stage != "adjust"}
    return worst((*adjusted, *measured.values()))


async def _opening_events(
    job: Job, session: Session, traceability: Traceability | None
) -> AsyncIterator[Event]:
    """Identify the instruments; yield the start or resumption, then what is not on record yet.

    That is documents, and what the bench may not be able to decide.
    """
    bench, assignment = session.bench, job.assignment
    documents = (job.file.document, *bench.documents)
    if assignment.given.document is not None:
        documents = (*documents, assignment.given.document)
    analyzer, generator = await bench.analyzer.identify(), await bench.generator.identify()
    refuse_foreign(bench, analyzer)
    refuse_other_instruments(job.earlier, analyzer, generator)
    refuse_another_unit(bench, assignment.registered, generator)
    refs = tuple(one.ref for one in documents)
    yield (
        _run_resumed(job, session, traceability, refs)
        if job.earlier
        else _run_started(job, session, analyzer, generator, traceability, refs)
    )
    for document in documents_not_in_record(job.earlier, documents):
        yield DocumentKept(**session.stamp(), document=document)
    for event in _added_events(job, session):
        yield event
    for event in _foretold(job, session):
        yield event
    if assignment.registered is not None:
        identified = await identified_unit(session, assignment.registered, generator)
        if identified is not None:
            yield identified


def _added_events(job: Job, session: Session) -> Iterator[Event]:
    """Yield the files and comments that were given with the run, each file once."""
    kept = {one.attachment.sha256 for one in job.earlier if isinstance(one, FileAttached)}
    who = session.bench.operator.name
    for one in {one.sha256: one for one in job.assignment.attachments}.values():
        if one.sha256 not in kept:
            yield FileAttached(**session.stamp(), attachment=one, told_by=who)
    for words in job.assignment.comments:
        yield Commented(**session.stamp(), words=words, told_by=who)
    for words in job.assignment.remarks:
        yield Commented(**session.stamp(), words=words, told_by=PROGRAM)


def _foretold(job: Job, session: Session) -> Iterator[Foretold]:
    """Yield what the bench may not be able to decide and the record does not say yet."""
    said = {(event.step, event.what) for event in job.earlier if isinstance(event, Foretold)}
    untied = untied_certificate(session.bench)
    if untied and ("analyzer", untied) not in said:
        yield Foretold(**session.stamp(), severity="warning", step="analyzer", what=untied)
    abilities = abilities_of(session.bench, session.given)
    for one in foreseen(job.file, job.stages, abilities, session.accuracy):
        if (one.step, one.what) not in said:
            yield Foretold(**session.stamp(), severity=one.severity, step=one.step, what=one.what)


def _run_resumed(
    job: Job, session: Session, traceability: Traceability | None, refs: tuple[DocumentRef, ...]
) -> RunResumed:
    return RunResumed(
        **session.stamp(),
        operator=session.bench.operator.name,
        done=len(job.finished_points()),
        traceability=traceability,
        environment=session.bench.environment,
        protections=session.bench.analyzer.protections,
        documents=refs,
        software=SOFTWARE,
        work_order=job.assignment.work_order,
        account=job.assignment.account,
    )


def _run_started(
    job: Job,
    session: Session,
    analyzer: str,
    generator: str,
    traceability: Traceability | None,
    refs: tuple[DocumentRef, ...],
) -> RunStarted:
    bench, procedure = session.bench, job.file.procedure
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
        asset=bench.unit,
        operator=bench.operator.name,
        software=SOFTWARE,
        traceability=traceability,
        environment=bench.environment,
        protections=bench.analyzer.protections,
        seed=bench.seed,
        documents=refs,
        registered=job.assignment.registered,
        work="sweep" if all(step.kind == "sweep" for step in procedure.step) else "procedure",
        work_order=job.assignment.work_order,
        account=job.assignment.account,
    )
