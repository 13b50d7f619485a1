"""What the events of a run, finished or not, say of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from ohmwright.model.bench_file import Asset
from ohmwright.model.event import (
    ActivationClosed,
    ActivationOpened,
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

_REFUSALS = frozenset(("WrongInstrument", "OutOfCapability", "CertificateExpired"))
"""Errors by which a run whose unit is known is refused before anything is measured."""


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
