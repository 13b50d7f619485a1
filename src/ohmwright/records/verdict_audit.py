"""Audit of verdicts: whether each follows from values, limits, rule and procedure on record."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ohmwright.engine.contradictions import quick_contradictions
from ohmwright.engine.limits_on_record import unreadable_procedures
from ohmwright.engine.verdict_on_record import unknown_rules
from ohmwright.model.event import Event

from .audit_finding import AuditFinding


def audit_verdicts(run_id: str, events: Sequence[Event]) -> Iterator[AuditFinding]:
    """Yield what of a whole run its own values, figures and documents contradict.

    Also a warning for each rule that is another package's, as what it decided is not decided again,
    and for each procedure that cannot be read.
    """
    for number, said in quick_contradictions(events):
        yield AuditFinding(said, run_id, number)
    for rule in unknown_rules(events):
        what = f"its verdicts by the rule '{rule}', of another package, were not decided once more"
        yield AuditFinding(what, run_id, kind="warning")
    for name in unreadable_procedures(events):
        what = f"its limits were not held against its procedure '{name}', which is not understood"
        yield AuditFinding(f"{what} here", run_id, kind="warning")
