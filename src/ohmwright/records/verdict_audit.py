"""Audit of verdicts: whether each follows from the values, limits and rule on record."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ohmwright.engine.verdict_on_record import differing_verdicts, unknown_rules
from ohmwright.model.event import Event

from .audit_finding import AuditFinding


def audit_verdicts(run_id: str, events: Sequence[Event]) -> Iterator[AuditFinding]:
    """Yield each verdict of a whole run that its own figures do not give.

    Also a warning for each rule that is another package's: what it decided is not decided again.
    """
    for number, said in differing_verdicts(events):
        yield AuditFinding(said, run_id, number)
    for rule in unknown_rules(events):
        what = f"its verdicts by the rule '{rule}', of another package, were not decided once more"
        yield AuditFinding(what, run_id, kind="warning")
