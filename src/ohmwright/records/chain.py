"""A stored run, and whether its chain of hashes and its seal hold: plain functions of bytes."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from ohmwright.model.event import (
    EVENTS,
    DocumentKept,
    Event,
    RunFinished,
    RunResumed,
    RunStarted,
    StageStarted,
)

from .addendum import Addendum, is_voided, what_is_wrong
from .authority import unauthorised_addendum
from .canonical_json import chain_hash, sha256_digest
from .seal import Seal


@dataclass(frozen=True)
class StoredEvent:
    """One event as it is stored."""

    number: int
    """From 1, without gaps."""
    body: bytes
    hash: bytes


@dataclass(frozen=True)
class RunHashes:
    """The hashes that tell whether two copies are of one run, and which of them is longer."""

    opening: bytes
    hashes: tuple[bytes, ...]
    sealed: bool
    addenda: tuple[str, ...] = ()
    """Digest of each addendum."""
    voided: bool = False


@dataclass(frozen=True)
class StoredRun:
    """A run as it is stored, not yet checked."""

    run_id: str
    opening: bytes
    """The ledger document that opened the run; its hash is the first link of the run's chain."""
    events: tuple[StoredEvent, ...]
    seal: Seal | None
    """None while the run is not finished."""
    addenda: tuple[Addendum, ...] = ()
    """Approvals, amendments, voids and reinstatements, oldest first."""

    @property
    def hashes_of_events(self) -> RunHashes:
        """The opening, the hash of each event and addendum, whether the run is sealed or void."""
        return RunHashes(
            self.opening,
            tuple(e.hash for e in self.events),
            self.seal is not None,
            tuple(one.digest for one in self.addenda),
            is_voided(self.addenda),
        )

    @property
    def head(self) -> bytes:
        """The hash of the last event (32 bytes); that of the opening where there is no event."""
        return self.events[-1].hash if self.events else sha256_digest(self.opening)


class BrokenRunError(Exception):
    """What is wrong with a run, and the number of the first event at which it shows."""

    def __init__(self, what: str, event: int | None = None) -> None:
        self.what, self.event = what, event
        super().__init__(what)


def verified_events(run: StoredRun) -> tuple[Event, ...]:
    """The events of `run`, once every hash, link, the seal and all addenda were checked.

    Raises BrokenRunError at the first that does not hold.
    """
    if _named(run.opening) != run.run_id:
        raise BrokenRunError("its opening names another run")
    events = tuple(_linked(run.events, sha256_digest(run.opening)))
    _begun_as(run.run_id, events)
    _documented(events)
    finished = bool(events) and isinstance(events[-1], RunFinished)
    if run.seal is not None:
        _sealed(run, run.seal, _last_operator(events))
    if finished != (run.seal is not None):
        raise BrokenRunError(
            "it is finished and has no seal" if finished else "its last event is missing"
        )
    if run.addenda:
        hashes = frozenset(one.hash.hex() for one in run.events)
        wrong = what_is_wrong(run.addenda, run.run_id, hashes)
        if wrong := wrong or unauthorised_addendum(run.addenda):
            raise BrokenRunError(wrong)
    return events


def _begun_as(run_id: str, events: tuple[Event, ...]) -> None:
    """Raise BrokenRunError unless its start names this run, as papers take it from there."""
    for number, event in enumerate(events, start=1):
        if isinstance(event, RunStarted) and event.run_id != run_id:
            raise BrokenRunError(f"its start is that of run {event.run_id}", number)


def _named(opening: bytes) -> Any:
    """The name of the run in its opening. Raises BrokenRunError."""
    try:
        return json.loads(opening)["run"]
    except (ValueError, KeyError, TypeError, RecursionError):
        raise BrokenRunError("its opening is damaged") from None


def _linked(kept: Iterable[StoredEvent], head: bytes) -> Iterable[Event]:
    """The events in order, each checked against its hash. Raises BrokenRunError."""
    for expected, one in enumerate(kept, start=1):
        if one.number != expected:
            raise BrokenRunError("the event is missing", expected)
        head = chain_hash(head, one.body)
        if head != one.hash:
            raise BrokenRunError("the event does not fit its hash or the one before it", expected)
        yield parsed_event(one)


def _documented(events: Iterable[Event]) -> None:
    """Raise BrokenRunError unless every document that an opening names precedes the first stage.

    Whether a document fits its own digest is checked when the event is parsed.
    """
    named, kept = set[str](), set[str]()
    for number, event in enumerate(events, start=1):
        if isinstance(event, RunStarted | RunResumed):
            named = {ref.sha256 for ref in event.documents}
        elif isinstance(event, DocumentKept):
            kept.add(event.document.sha256)
        elif isinstance(event, StageStarted) and not named <= kept:
            raise BrokenRunError("a document that the run goes by is not in the record", number)


def parsed_event(kept: StoredEvent) -> Event:
    """The event in the stored bytes. Raises BrokenRunError."""
    try:
        return EVENTS.validate_json(kept.body)
    except ValidationError as problem:
        what = problem.errors()[0]["msg"]
        raise BrokenRunError(f"its text is no event: {what}", kept.number) from None


def _last_operator(events: Iterable[Event]) -> str | None:
    """Who began the last part of a run; None where no event says so."""
    begun = [event.operator for event in events if isinstance(event, RunStarted | RunResumed)]
    return begun[-1] if begun else None


def _sealed(run: StoredRun, seal: Seal, operator: str | None) -> None:
    """Raise BrokenRunError unless the seal is valid and signs this run, its length and its head.

    Also where it was made for somebody else than the `operator` of the run's last part.
    """
    said = seal.statement
    if not seal.is_valid():
        raise BrokenRunError("the signature does not fit what was signed")
    if said.run != run.run_id:
        raise BrokenRunError(f"its seal is that of run {said.run}")
    if said.events != len(run.events):
        at = min(said.events, len(run.events)) + 1
        raise BrokenRunError(f"{said.events} events were signed, {len(run.events)} are there", at)
    if said.head != run.head.hex():
        raise BrokenRunError("its last hash is not the one that was signed", len(run.events))
    if operator not in (None, said.operator):
        raise BrokenRunError(
            f"{said.operator} signed it, and its last part was begun by {operator}"
        )
