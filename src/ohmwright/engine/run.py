"""Runs a procedure on a bench, as an async iterator of events.

RF is off whenever an event is handed out: no `yield` stands inside an activation, so whoever
keeps or shows events may take all the time they need, or stop listening, at no risk.
"""

from __future__ import annotations

from collections.abc import AsyncGenerator, AsyncIterator, Sequence

from ohmwright.instruments.bench import Bench
from ohmwright.instruments.operator import StopRun
from ohmwright.model.bench_status import OnStatus, ignore_status
from ohmwright.model.errors import OhmwrightError, Stopped
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
from ohmwright.model.result import Result, Verdict, latest, worst_of
from ohmwright.model.step import STAGES
from ohmwright.model.traceability import Traceability
from ohmwright.wire.event_loop import refuse_other_event_loop

from .as_left_evidence import AsLeftEvidence
from .capability import refuse_impossible
from .job import Job
from .low_output import low_output
from .opening_events import opening_events
from .pending_events import PendingEvents
from .protection_self_test import protection_self_test
from .resume import refuse_another_job
from .run_so_far import bench_time_s, on_time_s, results
from .service_exit import leave_before_going_on, left_open_before, service_left_on_exit
from .session import Session
from .stage import stage_events
from .steps.base import TimedStep
from .traceability import accuracy_of, traceability_of
from .unasked_rf import ensure_off_after, ensure_off_at_start
from .watched_question import watch_questions

_OPENING = RunStarted | RunResumed | DocumentKept
"""The events that a run or a part of it begins with: what it is a run of, and its documents."""


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
    UsageError where a run that goes on was begun with other stages, another unit, bench, procedure
    or data. A fault ends the run with a Fault event, then is raised; so does a person who stops it,
    and nothing is raised.
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
    pending.left_open = left_open_before(bench, job.earlier)
    session = Session(bench, on_status, accuracy_of(bench), pending, assignment.given)
    watch_questions(session)
    try:
        async with service_left_on_exit(session):
            async for event in _events(job, session, traceability):
                if not isinstance(event, _OPENING):  # what was said at first contact follows it
                    for earlier in pending.take():
                        yield earlier
                yield event
    except StopRun:
        who = bench.operator.name.removesuffix(".")  # of an initial: the sentence has its own
        error: Exception = Stopped(f"The run was stopped by {who}.")
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
        message=_words_of(error),
        rf_state=bench.rf.state,
        left_open=pending.left_open,
        on_s=round(pending.on_s, 3),
    )


def _words_of(error: Exception) -> str:
    """Return what an error says; of a fault of a program first its kind, as in "KeyError: 'x'".

    Without the address at which pydantic explains an error: a record is read elsewhere, too.
    """
    if isinstance(error, OhmwrightError):
        return str(error)
    words = " ".join(str(error).split()).partition(" For further information visit ")[0]
    return f"{type(error).__name__}: {words}" if words else type(error).__name__


async def _events(
    job: Job, session: Session, traceability: Traceability | None
) -> AsyncIterator[Event]:
    bench, found, begun = session.bench, list(results(job.earlier)), session.stamp()
    await ensure_off_at_start(bench, session.pending)
    session.report_rf_state()
    if not bench.operator.present:
        await bench.analyzer.prove_watchdog()
    async for event in opening_events(job, session, traceability, begun):
        yield event
    await leave_before_going_on(session, job.earlier)
    if not bench.operator.present and keys_the_output(job):
        async for event in protection_self_test(session, await low_output(session)):
            yield event
    as_left = AsLeftEvidence(job.file.procedure, bench.generator.data, found)
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
            if not isinstance(event, PointDone):
                yield event
                continue
            done = _held_against_adjusting(event, as_left)
            found.append(done.result)
            yield done
    yield RunFinished(
        **session.stamp(),
        verdict=overall_verdict(found),
        on_s=round(on_time_s(job.earlier) + session.on_s, 3),
        bench_time_s=round(bench_time_s(job.earlier) + session.bench_time_s, 3),
    )


def _held_against_adjusting(event: PointDone, as_left: AsLeftEvidence) -> PointDone:
    """Return the event; its reason tells where a value as left contradicts an adjusted point."""
    result = event.result
    if result.stage != "as_left":
        return event
    reason = "; ".join(filter(None, (result.reason, as_left.contradicting(result))))
    return event.model_copy(update={"result": result.model_copy(update={"reason": reason})})


def keys_the_output(job: Job) -> bool:
    """Return whether a step of the job switches RF on."""
    steps = (step for stage in job.stages for step in job.file.procedure.steps_in(stage))
    return any(isinstance(step, TimedStep) for step in steps)


def overall_verdict(found: Sequence[Result]) -> Verdict:
    """Return the worst verdict of a run's points, each by the last stage that measured it."""
    return worst_of(results_that_count(found))


def results_that_count(found: Sequence[Result]) -> tuple[Result, ...]:
    """Return the results that the verdict of a run is of: of each point the last stage's.

    A point that was found out of tolerance and left inside it has not failed; one that was not
    measured again has.
    """
    now = sorted(latest(found), key=lambda result: STAGES.index(result.stage))
    adjusted = [result for result in now if result.stage == "adjust"]
    measured = {(r.step, r.point): r for r in now if r.stage != "adjust"}
    return (*adjusted, *measured.values())
