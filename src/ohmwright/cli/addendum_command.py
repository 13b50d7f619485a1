"""The commands `record approve`, `amend`, `void` and `reinstate`: what is added to a run."""

from __future__ import annotations

from collections.abc import Sequence

from rich.text import Text

from ohmwright.api.laboratory import PaperWords, find_laboratory, paper_data
from ohmwright.api.open_records import resolved_run_id
from ohmwright.model.account import account_name
from ohmwright.model.errors import UsageError
from ohmwright.model.paper import Corrections, PaperData
from ohmwright.records.add_addendum import Wanted, add_addendum
from ohmwright.records.addendum import AddendumKind
from ohmwright.records.sql_store import SqlStore
from ohmwright.reports.issue import issue_of
from ohmwright.reports.run_parts import parts_of_run
from ohmwright.reports.text import printable

from .console import out, print_notice
from .open_records import open_existing_records

_DONE: dict[AddendumKind, str] = {
    "approved": "is approved",
    "amended": "is amended",
    "voided": "is void",
    "reinstated": "is valid again",
}


def approve_run(run: str, by: str | None, records: str | None, words: PaperWords) -> None:
    """Sign that the results of a run are released, with what its papers state."""
    name = by or account_name()
    with open_existing_records(records) as store:
        run_id = resolved_run_id(store, run)
        laboratory = find_laboratory(words.laboratory, store.database.place)
        if laboratory is not None:
            laboratory.refuse_approver(name)
        kept = issue_of(run_id, store.stored_run(run_id).addenda)
        before = kept.paper if kept.on_record else None
        paper = paper_data(laboratory, words, before)
        _refuse_late_receipt(paper, store, run_id)
        if name in {part.operator for part in parts_of_run(store.events(run_id))}:
            print_notice(f"{printable(name)} also carried out the work; the certificate says both.")
        seal = store.stored_run(run_id).seal
        if seal is not None and seal.statement.key == store.key.public:
            print_notice(
                "Your key also sealed the record, so it proves no second person; the certificate "
                "says so."
            )
        _add(store, run_id, Wanted("approved", name, paper=None if paper == before else paper))


def amend_run(
    run: str, reason: str, by: str | None, records: str | None, words: PaperWords
) -> None:
    """Make a new issue of the certificate, which replaces the one before."""
    with open_existing_records(records) as store:
        run_id = resolved_run_id(store, run)
        kept = issue_of(run_id, store.stored_run(run_id).addenda)
        laboratory = find_laboratory(words.laboratory, store.database.place)
        paper = paper_data(laboratory, words, kept.paper if kept.on_record else None)
        _refuse_late_receipt(paper, store, run_id)
        _add(store, run_id, Wanted("amended", by or account_name(), reason, paper))
        issue = issue_of(run_id, store.stored_run(run_id).addenda)
    _say(f"Certificate {issue.number} replaces {issue.replaces}; nobody has approved it yet.")


def _refuse_late_receipt(paper: PaperData, store: SqlStore, run_id: str) -> None:
    """Raise UsageError where the unit would have been received after the work on it."""
    ended = store.events(run_id)[-1].at.date()
    if paper.received_on is not None and paper.received_on > ended:
        raise UsageError(
            f"--received {paper.received_on}: the work was done by {ended}.",
            "A unit cannot be received after it. Nothing was added.",
            "Give the date of receipt, as YYYY-MM-DD.",
        )


def corrections(given: Sequence[str]) -> Corrections:
    """Parse corrections of the unit such as `serial=TQ3-20418`. Raises UsageError."""
    known = tuple(Corrections.model_fields)
    texts: dict[str, str] = {}
    for one in given:
        key, _, text = one.partition("=")
        if key not in known or not text.strip():
            raise UsageError(
                f"--correct {one}: nothing of the unit is corrected by that.",
                f"It can be: {', '.join(known)}. A run on another unit is void.",
                "Write, for example: --correct serial=TQ3-20418",
            )
        texts[key] = text.strip()
    return Corrections(**texts)


def change_validity(
    run: str, what: AddendumKind, reason: str, by: str | None, records: str | None
) -> None:
    """Declare a run void, or valid again."""
    with open_existing_records(records) as store:
        run_id = resolved_run_id(store, run)
        _add(store, run_id, Wanted(what, by or account_name(), reason))


def _add(store: SqlStore, run_id: str, wanted: Wanted) -> None:
    """Add an addendum, and print what that means."""
    added = add_addendum(store, run_id, wanted)
    _say(
        f"Run {run_id} {_DONE[wanted.what]}, signed by {wanted.operator} with key "
        f"{added.fingerprint}."
    )


def _say(line: str) -> None:
    out().print(Text(printable(line)), soft_wrap=True)
