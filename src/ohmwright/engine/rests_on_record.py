"""How long RF was off before the activation that a result is of, by the times on record."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from ohmwright.model.event import ActivationClosed, Event

from .activations_on_record import results_behind_rf
from .kept_documents import DocumentedPart, read_kept_procedure


class Rest(NamedTuple):
    """A rest before an activation, in s."""

    off_s: float
    """How long RF was off, by the bench's clock."""
    asked_s: float | None
    """The longest rest that the procedure asks for; None where it cannot be read here."""


def rests_on_record(events: Iterable[Event]) -> Mapping[tuple[str, str, str], Rest]:
    """Return the rest before the last activation of each result, by stage, step and point.

    A result without an activation has none, nor has one before which RF never was on in its part of
    the run, or nobody knows when.
    """
    found = dict[tuple[str, str, str], Rest]()
    for _, result, part, activations, own in results_behind_rf(events):
        key = (result.stage, result.step, result.point)
        found.pop(key, None)  # of a point that was measured again the last result counts
        off_s = _off_s(activations) if own else None
        if off_s is not None:
            found[key] = Rest(off_s, _asked_s(result.step, part))
    return found


def _off_s(activations: Sequence[ActivationClosed]) -> float | None:
    """Return how long RF was off between the last two; None where that is not on record."""
    if len(activations) < 2:
        return None
    before, last = activations[-2:]
    if before.on_at_bench_s is None or last.on_at_bench_s is None:
        return None
    off_s = last.on_at_bench_s - before.on_at_bench_s - before.on_s
    return max(0.0, round(off_s, 3))  # times with RF on are rounded, too


def _asked_s(step_name: str, part: DocumentedPart) -> float | None:
    document = part.document("procedure")
    procedure = None if document is None else read_kept_procedure(document)
    if procedure is None:
        return None
    steps = (step for step in procedure.step if step.name == step_name)
    return next((procedure.timing(step).rest_s for step in steps), None)
