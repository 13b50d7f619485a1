"""A procedure on a bench: an async iterator of events.

RF is off whenever an event is handed out: no `yield` stands inside an activation, so whoever
keeps or shows events may take all the time they need, or stop listening, at no risk.
"""

from __future__ import annotations

from collections.abc import AsyncGenerator, AsyncIterator, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from ohmwright import __version__
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.operator import StopRun
from ohmwright.metrology.fleet_prior import FleetPrior
from ohmwright.model.errors import Stopped, WrongInstrument
from ohmwright.model.event import (
    Event,
    Fault,
    PointDone,
    RunFinished,
    RunResumed,
    RunStarted,
    StageStarted,
)
from ohmwright.model.moment import OnMoment, unwatched
from ohmwright.model.procedure import (
    STAGES,
    AdjustStep,
    Stage,
)
from ohmwright.model.procedure_file import ProcedureFile
from ohmwright.model.result import Result, Verdict, latest, worst
from ohmwright.model.step import ModeStep
from ohmwright.model.traceability import Traceability

from .activation import begin_off, off_after
from .capability import refuse_impossible
from .notes import Notes
from .proving import protection_proofs
from .service import service_left
from .session import Session
from .stage import done, staged
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
        return done(self.file.procedure, results(self.earlier))


async def run(
    job: Job, bench: Bench, on_moment: OnMoment = unwatched, notes: Notes | None = None
) -> AsyncGenerator[Event, None]:
    """Run `job` on `bench`; each event must be kept before the next is asked for.

    Whoever cancels a run finds in `notes` the events that it could not hand out any more.

    Before anything is switched on, raises ProcedureError where the bench cannot do what the
    procedure asks, and CertificateExpired where the analyzer's calibration is past its date. A
    fault ends the run with a Fault event, then is raised.
    """
    refuse_impossible(job.file, job.stages, bench)
    traceability = traceability_of(bench, accept_expired=job.accept_expired)
    notes = Notes() if notes is None else notes
    session = Session(bench, on_moment, accuracy_of(bench), notes)
    try:
        async with service_left(session):
            async for event in _events(job, session, traceability):
                for noted in notes.taken():
                    yield noted
                yield event
    except StopRun:
        error: Exception = Stopped(f"The run was stopped by {bench.operator.name}.")
    except Exception as caught:  # a crash is on record, too
        error = caught
    else:
        return
    ended_by = await off_after(error, bench)
    for noted in notes.taken():
        yield noted
    yield fault_of(ended_by, bench, notes)
    if not isinstance(ended_by, Stopped):
        raise ended_by


def fault_of(error: Exception, bench: Bench, notes: Notes) -> Fault:
    """The event of a run that ended early by `error`, with RF as it was read last."""
    return Fault(
        at=bench.clock.wall(),
        bench_s=round(bench.clock.now_s(), 6),
        error=type(error).__name__,
        message=str(error),
        rf_state=bench.rf.state,
        left_open=notes.left_open,
    )


async def _events(
    job: Job, session: Session, traceability: Traceability | None
) -> AsyncIterator[Event]:
    bench, found = session.bench, list(results(job.earlier))
    await begin_off(bench)
    session.show_rf()
    if not bench.operator.present:
        await bench.analyzer.prove_watchdog()
    yield await _opening(job, session, traceability)
    if not bench.operator.present and _keys_the_output(job):
        async for event in protection_proofs(session):
            yield event
    for stage in job.stages:
        yield StageStarted(**session.stamp(), stage=stage)
        async for event in staged(job.file.procedure, session, stage, found, job.fleet):
            if isinstance(event, PointDone):
                found.append(event.result)
            yield event
    yield RunFinished(
        **session.stamp(),
        verdict=overall(found),
        on_s=round(session.on_s, 3),
        bench_time_s=round(bench.clock.now_s() - session.started_s, 3),
    )


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
    now = latest(found)
    measured = [r.stage for r in now if r.stage != "adjust"]
    last = max(measured, key=STAGES.index, default="adjust")
    return worst(r.verdict for r in now if r.stage in (last, "adjust"))


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
            protections=bench.analyzer.protections,
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
        protections=bench.analyzer.protections,
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
