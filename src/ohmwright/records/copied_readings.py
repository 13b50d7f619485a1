"""Audit of readings: whether a result has those of a result of another run."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ohmwright.engine.repeated_readings import telling_readings
from ohmwright.engine.run_so_far import run_started_event
from ohmwright.model.event import Event, PointDone

from .audit_finding import AuditFinding
from .canonical_json import sha256_digest


class CopiedReadings:
    """Finds, in the runs that it is called with, results whose readings an earlier run has, too.

    Simulated units answer alike with the same seed, and are left out.
    """

    def __init__(self) -> None:
        self._runs: dict[bytes, str] = {}
        """By the readings of a result, the run that had them first."""

    def __call__(self, run_id: str, events: Sequence[Event]) -> Iterator[AuditFinding]:
        """Yield what is found in this run."""
        started = run_started_event(events)
        if started is None or started.seed is not None:
            return
        for number, event in enumerate(events, start=1):
            if not isinstance(event, PointDone):
                continue
            readings = telling_readings(event.result)
            if readings is None:
                continue
            first = self._runs.setdefault(sha256_digest(repr(readings).encode()), run_id)
            if first != run_id:
                yield AuditFinding(
                    f"{event.result.step}, {event.result.point}: its readings are those of run "
                    f"{first}, to the last digit and at the same ages: one of both is a copy",
                    run_id,
                    number,
                )
