"""Audit of verdicts: whether each follows from values, limits, rule and procedure on record."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ohmwright.engine.figures_on_record import differing_figures
from ohmwright.engine.limits_on_record import differing_limits, unreadable_procedures
from ohmwright.engine.verdict_on_record import differing_verdicts, unknown_rules
from ohmwright.model.event import Event

from .audit_finding import AuditFinding


def audit_figures(run_id: str, events: Sequence[Event]) -> Iterator[AuditFinding]:
    """Yield each figure of a whole run that its budgets, readings or documents contradict."""
    for number, said in differing_figures(events):
        yield AuditFinding(said, run_id, number)


def audit_verdicts(run_id: str, events: Sequence[Event]) -> Iterator[AuditFinding]:
    """Yield what of a whole run its own figures do not give, or its procedure states otherwise.

    Also a warning for each rule that is another package's, as what it decided is not decided again,
    and for each procedure that cannot be read.
    """
    for number, said in (*differing_verdicts(events), *differing_limits(events)):
        yield AuditFinding(said, run_id, number)
    for rule in unknown_rules(events):
        what = f"its verdicts by the rule '{rule}', of another package, were not decided once more"
        yield AuditFinding(what, run_id, kind="warning")
    for name in unreadable_procedures(events):
        what = f"its limits were not held against its procedure '{name}', which is not understood"
        yield AuditFinding(f"{what} here", run_id, kind="warning")
