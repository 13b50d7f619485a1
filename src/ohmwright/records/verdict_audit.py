"""Audit of verdicts: whether each follows from the values, limits and rule on record."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from ohmwright.engine.verdict_on_record import differing_verdicts
from ohmwright.model.errors import RecordError

from .audit_finding import AuditFinding
from .sql_store import SqlStore


def audit_verdicts(store: SqlStore, only: Collection[str] = ()) -> Iterator[AuditFinding]:
    """Yield each verdict that its own figures do not give; a damaged run is left to `audit`.

    `only`: names of the runs that are looked at; empty for all runs.
    """
    for run_id in only or store.run_ids():
        try:
            events = store.events(run_id)
        except RecordError:
            continue
        for number, said in differing_verdicts(events):
            yield AuditFinding(said, run_id, number)
