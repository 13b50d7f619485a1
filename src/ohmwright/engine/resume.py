"""A run that was cut short and goes on: what must be as it was, and what was spent before."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from ohmwright.model.bench_file import Asset
from ohmwright.model.document import Document, DocumentRef, Role, changed_roles
from ohmwright.model.errors import UsageError, WrongInstrument
from ohmwright.model.event import (
    ActivationClosed,
    DocumentKept,
    Event,
    Fault,
    RunResumed,
    RunStarted,
)

SAME_DOCUMENTS: tuple[Role, ...] = (
    "procedure",
    "analyzer data",
    "analyzer command set",
    "generator data",
    "generator command set",
)
"""Bench file and certificate may be others: what they change is told with each result."""


def started_in(events: Iterable[Event]) -> RunStarted | None:
    """The event that began the run, if it is there."""
    return next((event for event in events if isinstance(event, RunStarted)), None)


def refuse_another_job(
    earlier: Sequence[Event],
    *,
    procedure_digest: str,
    bench: str,
    asset: Asset,
    documents: Iterable[DocumentRef],
) -> None:
    """Raise UsageError unless unit, bench, procedure and data files are those of the run.

    A record that does not hold its data files is not held against any.
    """
    started = started_in(earlier)
    if started is None:
        return
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
                f"Run {started.run_id} was begun with {what} '{there}'; the bench file says "
                f"'{here}'.",
                "Results of two would not fit together. Nothing was switched on.",
                "Give the bench file of that run, or start a new run.",
            )
    others = changed_roles(documents, started.documents, SAME_DOCUMENTS)
    if others:
        raise UsageError(
            f"Run {started.run_id} was begun with another text of: {', '.join(others)}.",
            "Its results would not fit together. Nothing was switched on.",
            f"Put back the files of that run ('ohmwright record documents {started.run_id} FOLDER' "
            "writes them), or start a new run.",
        )


def _identity(here: Asset, there: Asset) -> Iterator[tuple[str, str, str]]:
    """What tells one unit from another; its department may change its name."""
    names = {"id": "asset", "serial": "serial number", "maker": "maker", "model": "model"}
    for key, what in names.items():
        yield what, getattr(here, key), getattr(there, key)


def refuse_other_instruments(earlier: Sequence[Event], analyzer: str, generator: str) -> None:
    """Only the instruments that a run was begun with may go on with it."""
    started = started_in(earlier)
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


def not_kept_yet(earlier: Iterable[Event], documents: Iterable[Document]) -> tuple[Document, ...]:
    """Those of `documents` that the record has not, each once."""
    kept = {event.document.sha256 for event in earlier if isinstance(event, DocumentKept)}
    new = {one.sha256: one for one in documents if one.sha256 not in kept}
    return tuple(new.values())


def parts(events: Iterable[Event]) -> Iterator[tuple[Event, ...]]:
    """The events of a run in one tuple for each time that it was begun or resumed."""
    part: list[Event] = []
    for event in events:
        if isinstance(event, RunResumed) and part:
            yield tuple(part)
            part = []
        part.append(event)
    if part:
        yield tuple(part)


def bench_time_s(events: Iterable[Event]) -> float:
    """The time at the bench that `events` span, pauses between a fault and a resumption left out.

    Each part counts from its first event to its last: clocks of two parts share no zero.
    """
    return sum(part[-1].bench_s - part[0].bench_s for part in parts(events))


def on_time_s(events: Iterable[Event]) -> float:
    """How long RF was on, as far as `events` know it.

    What a part counted up to its fault is believed. A part without one (a crash) has only
    what its closed activations say: an activation that it never closed is not counted.
    """
    return sum(_on_s(part) for part in parts(events))


def _on_s(part: Sequence[Event]) -> float:
    counted = [e.on_s for e in part if isinstance(e, Fault) and e.on_s is not None]
    closed = (e.on_s for e in part if isinstance(e, ActivationClosed))
    return counted[-1] if counted else sum(closed)
