"""The first events of a run: who and what it is done with, and what is known before RF."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator

from ohmwright import __version__
from ohmwright.instruments.bench import Bench
from ohmwright.model.assignment import PROGRAM
from ohmwright.model.document import DocumentRef
from ohmwright.model.event import (
    Commented,
    DocumentKept,
    Event,
    FileAttached,
    Foretold,
    RunResumed,
    RunStarted,
)
from ohmwright.model.traceability import Traceability

from .decidability import Severity
from .foresight import foreseen
from .job import Job
from .loads_taken import connect_each_load
from .pending_events import Stamp
from .requirements import abilities_of
from .resume import documents_not_in_record, refuse_other_instruments
from .session import Session
from .traceability import refuse_foreign, untied_certificate
from .unit_identity import identified_unit, refuse_another_unit, same_unit_goes_on

SOFTWARE = f"ohmwright {__version__}"
"""Name and version of this program, as records carry them."""
_SHOWS_POWER = "its meter shows power; each current is worked out of that and the load's name"


async def opening_events(
    job: Job, session: Session, traceability: Traceability | None, begun: Stamp
) -> AsyncIterator[Event]:
    """Identify the instruments; yield the start or resumption, then what is not on record yet.

    That is documents, and what the bench may not be able to decide. `begun`: when first contact
    began; what a person was asked there is of this run, and so comes after its start.
    """
    bench, assignment = session.bench, job.assignment
    documents = (job.file.document, *bench.documents)
    if assignment.given.document is not None:
        documents = (*documents, assignment.given.document)
    analyzer, generator = await bench.analyzer.identify(), await bench.generator.identify()
    refuse_foreign(bench, analyzer)
    refuse_other_instruments(job.earlier, analyzer, generator)
    refuse_another_unit(bench, assignment.registered, generator)
    await connect_each_load(job, session)
    refs = tuple(one.ref for one in documents)
    yield (
        _run_resumed(job, session, begun, traceability, refs)
        if job.earlier
        else _run_started(job, session, begun, analyzer, generator, traceability, refs)
    )
    for document in documents_not_in_record(job.earlier, documents):
        yield DocumentKept(**begun, document=document)
    for event in _added_events(job, session):
        yield event
    for event in _foretold(job, session):
        yield event
    if job.earlier and assignment.registered is None:
        await same_unit_goes_on(session)
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
    for severity, what in _of_analyzer(session.bench):
        if ("analyzer", what) not in said:
            yield Foretold(**session.stamp(), severity=severity, step="analyzer", what=what)
    abilities = abilities_of(session.bench, session.given)
    for one in foreseen(job.file, job.stages, abilities, session.accuracy):
        if (one.step, one.what) not in said:
            yield Foretold(**session.stamp(), severity=one.severity, step=one.step, what=one.what)


def _of_analyzer(bench: Bench) -> Iterator[tuple[Severity, str]]:
    """Yield what the record is to say of the analyzer, whatever is measured with it."""
    if untied := untied_certificate(bench):
        yield "warning", untied
    if bench.analyzer.shows_power:
        yield "note", _SHOWS_POWER


def _run_resumed(
    job: Job,
    session: Session,
    begun: Stamp,
    traceability: Traceability | None,
    refs: tuple[DocumentRef, ...],
) -> RunResumed:
    return RunResumed(
        **begun,
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
    begun: Stamp,
    analyzer: str,
    generator: str,
    traceability: Traceability | None,
    refs: tuple[DocumentRef, ...],
) -> RunStarted:
    bench, procedure = session.bench, job.file.procedure
    return RunStarted(
        **begun,
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
