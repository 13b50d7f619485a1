"""A procedure on a bench: an async iterator of events.

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
from ohmwright.model.bench_status import OnStatus, ignore_status
from ohmwright.model.document import DocumentRef
from ohmwright.model.errors import Stopped
from ohmwright.model.event import (
    DocumentKept,
    Event,
    Fault,
    PointDone,
    RunFinished,
    RunResumed,
    RunStarted,
    StageStarted,
)
from ohmwright.model.result import Result, Verdict, latest, worst
from ohmwright.model.step import STAGES, Stage
from ohmwright.model.traceability import Traceability

from .capability import refuse_impossible
from .pending_events import PendingEvents
from .procedure_file import ProcedureFile
from .protection_self_test import protection_self_test
from .release import begin_off, off_after
from .resume import (
    bench_time_s,
    not_kept_yet,
    on_time_s,
    refuse_another_job,
    refuse_other_instruments,
)
from .service_exit import service_left_on_exit
from .session import Session
from .stage import finished_points, stage_events
from .steps.base import TimedStep
from .traceability import accuracy_of, refuse_foreign, traceability_of

SOFTWARE = f"ohmwright {__version__}"


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

    def finished_points(self) -> frozenset[tuple[Stage, str, str]]:
        """Stage, step and point of every result there is already."""
        return finished_points(self.file.procedure, results(self.earlier))


async def run(
    job: Job, bench: Bench, on_status: OnStatus = ignore_status, notes: PendingEvents | None = None
) -> AsyncGenerator[Event, None]:
    """Run `job` on `bench`; each event must be kept before the next is asked for.

    Whoever cancels a run finds in `notes` the events that it could not hand out any more.

    Before anything is switched on, raises ProcedureError where the bench cannot do what the
    procedure asks, CertificateExpired where the analyzer's calibration is past its date, and
    UsageError where a run that goes on was begun with another unit, bench, procedure or data. A
    fault ends the run with a Fault event, then is raised.
    """
    refuse_impossible(job.file, job.stages, bench)
    refuse_another_job(
        job.earlier,
        procedure_digest=job.file.digest,
        bench=bench.name,
        asset=bench.asset,
        documents=[one.ref for one in bench.documents],
    )
    traceability = traceability_of(bench, accept_expired=job.accept_expired)
    notes = PendingEvents() if notes is None else notes
    session = Session(bench, on_status, accuracy_of(bench), notes)
    try:
        async with service_left_on_exit(session):
            async for event in _events(job, session, traceability):
                for noted in notes.take():
                    yield noted
                yield event
    except StopRun:
        error: Exception = Stopped(f"The run was stopped by {bench.operator.name}.")
    except Exception as caught:  # a crash is on record, too
        error = caught
    else:
        return
    ended_by = await off_after(error, bench, notes)
    for noted in notes.take():
        yield noted
    yield fault_of(ended_by, bench, notes)
    if not isinstance(ended_by, Stopped):
        raise ended_by


def fault_of(error: Exception, bench: Bench, notes: PendingEvents) -> Fault:
    """The event of a run that ended early by `error`, with RF as it was read last."""
    return Fault(
        at=bench.clock.wall(),
        bench_s=round(bench.clock.now_s(), 6),
        error=type(error).__name__,
        message=str(error),
        rf_state=bench.rf.state,
        left_open=notes.left_open,
        on_s=round(notes.on_s, 3),
    )


async def _events(
    job: Job, session: Session, traceability: Traceability | None
) -> AsyncIterator[Event]:
    bench, found = session.bench, list(results(job.earlier))
    await begin_off(bench)
    session.show_rf()
    if not bench.operator.present:
        await bench.analyzer.prove_watchdog()
    async for event in _opening(job, session, traceability):
        yield event
    if not bench.operator.present and _keys_the_output(job):
        async for event in protection_self_test(session):
            yield event
    for stage in job.stages:
        yield StageStarted(**session.stamp(), stage=stage)
        async for event in stage_events(job.file.procedure, session, stage, found, job.fleet):
            if isinstance(event, PointDone):
                found.append(event.result)
            yield event
    yield RunFinished(
        **session.stamp(),
        verdict=overall(found),
        on_s=round(on_time_s(job.earlier) + session.on_s, 3),
        bench_time_s=round(bench_time_s(job.earlier) + session.bench_time_s, 3),
    )


def _keys_the_output(job: Job) -> bool:
    steps = (step for stage in job.stages for step in job.file.procedure.steps_in(stage))
    return any(isinstance(step, TimedStep) for step in steps)


def results(events: Iterable[Event]) -> Iterator[Result]:
    """The results among `events`."""
    return (event.result for event in events if isinstance(event, PointDone))


def overall(found: Sequence[Result]) -> Verdict:
    """The verdict of a run: that of its last stage with results, and of its adjustments.

    What was found out of tolerance and left inside it is no failure of the run.
    """
    now = latest(found)
    measured = [r.stage for r in now if r.stage != "adjust"]
    last = max(measured, key=STAGES.index, default="adjust")
    return worst(r.verdict for r in now if r.stage in (last, "adjust"))


async def _opening(
    job: Job, session: Session, traceability: Traceability | None
) -> AsyncIterator[Event]:
    """Who measures what with what, then every document that the record has not yet."""
    bench, documents = session.bench, (job.file.document, *session.bench.documents)
    analyzer, generator = await bench.analyzer.identify(), await bench.generator.identify()
    refuse_foreign(bench, analyzer)
    refuse_other_instruments(job.earlier, analyzer, generator)
    refs = tuple(one.ref for one in documents)
    yield (
        _resumed(job, session, traceability, refs)
        if job.earlier
        else _started(job, session, analyzer, generator, traceability, refs)
    )
    for document in not_kept_yet(job.earlier, documents):
        yield DocumentKept(**session.stamp(), document=document)


def _resumed(
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
    )


def _started(
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
        asset=bench.asset,
        operator=bench.operator.name,
        software=SOFTWARE,
        traceability=traceability,
        environment=bench.environment,
        protections=bench.analyzer.protections,
        seed=bench.seed,
        documents=refs,
    )
