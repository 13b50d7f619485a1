"""Resuming a run that was cut short: what must be as it was, and what its events so far say."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from ohmwright.model.bench_file import Asset
from ohmwright.model.document import Document, DocumentRef, Role, changed_roles
from ohmwright.model.errors import UsageError, WrongInstrument
from ohmwright.model.event import (
    ActivationClosed,
    ActivationOpened,
    DocumentKept,
    Event,
    Fault,
    PointDone,
    RunResumed,
    RunStarted,
    ServiceLeft,
    TrimMoved,
    TrimsStored,
    UnaskedRf,
)
from ohmwright.model.result import Result
from ohmwright.model.step import STAGES, Stage
from ohmwright.model.typed_command import typed_command

ROLES_THAT_MUST_AGREE: tuple[Role, ...] = (
    "procedure",
    "analyzer data",
    "analyzer command set",
    "analyzer back end",
    "generator data",
    "generator command set",
    "generator back end",
)
"""Documents that must be those of the run; bench file and certificate may have changed.

Each result says which certificate its uncertainty rests on.
"""

_REFUSALS = frozenset(("WrongInstrument", "OutOfCapability", "CertificateExpired"))
"""Errors by which a run whose unit is known is refused before anything is measured."""
_COMMANDS: dict[tuple[Stage, ...], str] = {STAGES: "calibrate", ("as_found",): "verify"}


def run_started_event(events: Iterable[Event]) -> RunStarted | None:
    """Return the event that began the run; None where `events` do not hold it."""
    return next((event for event in events if isinstance(event, RunStarted)), None)


def recorded_unit(events: Iterable[Event]) -> Asset | None:
    """Return the unit of the run as it began; None where `events` do not hold that."""
    started = run_started_event(events)
    return None if started is None else started.asset


def is_refusal(last: Event, *, unit_known: bool) -> bool:
    """Whether a run without a result was refused by its last event, and so is over.

    Nothing was measured that a new run would lack.
    """
    return isinstance(last, Fault) and (not unit_known or last.error in _REFUSALS)


def is_refused(events: Sequence[Event]) -> bool:
    """Whether the run of these events was refused, and so is over.

    One that had RF on, or has a result, was not: a refused attempt to go on with it ends nothing.
    """
    begun = (ActivationOpened, PointDone)
    if not events or any(isinstance(event, begun) for event in events):
        return False
    return is_refusal(events[-1], unit_known=run_started_event(events) is not None)


def refuse_another_job(
    earlier: Sequence[Event],
    *,
    stages: tuple[Stage, ...],
    procedure_digest: str,
    bench: str,
    asset: Asset,
    documents: Iterable[DocumentRef],
) -> None:
    """Raise UsageError unless stages, unit, bench, procedure and data files are those of the run.

    A record without its data files is not compared with any.
    """
    started = run_started_event(earlier)
    if started is None:
        return
    if stages != started.stages:
        raise _other_stages(started, stages)
    if procedure_digest != started.procedure_digest:
        raise UsageError(
            f"Run {started.run_id} was begun with another text of the procedure.",
            "Its results would not fit together. Nothing was switched on.",
            "Use the procedure file of that run, or start a new run.",
        )
    for what, here, there in (
        ("bench", bench, started.bench),
        *_identity(asset, started.asset),
    ):
        if here != there:
            raise UsageError(
                f"Run {started.run_id} was begun with {what} '{there}'; now it is '{here}'.",
                "Results of two would not fit together. Nothing was switched on.",
                "Give the bench file and the unit of that run, or start a new run.",
            )
    others = changed_roles(documents, started.documents, ROLES_THAT_MUST_AGREE)
    if others:
        raise UsageError(
            f"Run {started.run_id} was begun with another text of: {', '.join(others)}.",
            "Its results would not fit together. Nothing was switched on.",
            "Put back the files of that run "
            f"('{typed_command(f'record documents {started.run_id} FOLDER')}' writes them), "
            "or start a new run.",
        )


def _other_stages(started: RunStarted, stages: tuple[Stage, ...]) -> UsageError:
    command = _COMMANDS.get(started.stages, "")
    typed = typed_command(f"{command} … --resume {started.run_id}")
    by = f" ('{typed}')" if command else ""
    return UsageError(
        f"Run {started.run_id} was begun with: {_in_words(started.stages)}; "
        f"it is to go on with: {_in_words(stages)}.",
        "What is measured after an adjustment is not as found, and one that is not asked for must "
        "not move a trim: a run goes on as it was begun. Nothing was switched on.",
        f"Go on with it as it was begun{by}, or start a new run.",
    )


def _in_words(stages: tuple[Stage, ...]) -> str:
    return ", ".join(stage.replace("_", " ") for stage in stages)


def _identity(here: Asset, there: Asset) -> Iterator[tuple[str, str, str]]:
    """Yield name, value here and value there of what tells one unit from another.

    Its department is left out, since a department may be renamed.
    """
    names = {"id": "asset", "serial": "serial number", "maker": "maker", "model": "model"}
    for key, what in names.items():
        yield what, getattr(here, key), getattr(there, key)


def refuse_other_instruments(earlier: Sequence[Event], analyzer: str, generator: str) -> None:
    """Raise WrongInstrument unless both instruments are those that the run was begun with."""
    started = run_started_event(earlier)
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


def documents_not_in_record(
    earlier: Iterable[Event], documents: Iterable[Document]
) -> tuple[Document, ...]:
    """Return those of `documents` that the record does not hold yet, each text once."""
    kept = {event.document.sha256 for event in earlier if isinstance(event, DocumentKept)}
    new = {one.sha256: one for one in documents if one.sha256 not in kept}
    return tuple(new.values())


def stored_moves(events: Iterable[Event]) -> tuple[TrimMoved, ...]:
    """Return the moves of trims that the generator has kept, in their order."""
    stored: list[TrimMoved] = []
    moved: list[TrimMoved] = []
    for event in events:
        match event:
            case TrimMoved():
                moved.append(event)
            case TrimsStored():
                stored += moved
                moved = []
            case ServiceLeft() | RunResumed():
                moved = []
    return tuple(stored)


def split_at_resumptions(events: Iterable[Event]) -> Iterator[tuple[Event, ...]]:
    """Yield the events of a run in parts, each from its start or a resumption to the next."""
    part: list[Event] = []
    for event in events:
        if isinstance(event, RunResumed) and part:
            yield tuple(part)
            part = []
        part.append(event)
    if part:
        yield tuple(part)


def bench_time_s(events: Iterable[Event]) -> float:
    """Return the time at the bench that `events` span, in seconds.

    Pauses before resumptions are left out: each part counts from its first event to its last, since
    the clocks of two parts share no zero.
    """
    return sum(part[-1].bench_s - part[0].bench_s for part in split_at_resumptions(events))


def on_time_s(events: Iterable[Event]) -> float:
    """Return how long RF was on, in seconds, as far as `events` tell.

    A part that ended with a fault has the time in that event. A part without one was killed or
    finished, and counts its closed activations and RF that nobody asked for: an activation that was
    never closed is left out.
    """
    return sum(_on_s(part) for part in split_at_resumptions(events))


def _on_s(part: Sequence[Event]) -> float:
    counted = [e.on_s for e in part if isinstance(e, Fault) and e.on_s is not None]
    ended = (e.on_s or 0.0 for e in part if isinstance(e, ActivationClosed | UnaskedRf))
    return counted[-1] if counted else sum(ended)


def results(events: Iterable[Event]) -> Iterator[Result]:
    """Yield the result of each finished point among `events`."""
    return (event.result for event in events if isinstance(event, PointDone))
