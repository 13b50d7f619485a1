"""Adds signed addenda to a run on record: approves and issues, amends, voids or reinstates it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from sqlalchemy import Connection

from ohmwright.engine.run_so_far import is_refused
from ohmwright.model.errors import UsageError
from ohmwright.model.paper import Authority, IssuedPaper, PaperData
from ohmwright.model.typed_command import typed_command
from ohmwright.wire.clock import RealClock

from .addendum import Addendum, AddendumKind, AddendumStatement, is_voided
from .chain import BrokenRunError, StoredRun, parsed_event, verified_events
from .flat_rows import Row
from .keys import OperatorKey
from .lease import LeaseHolder, release_lease, take_lease
from .ledger import LedgerEntry, add_entry, lock_ledger
from .paper_changes import paper_changes
from .run_reader import find_run, read_run
from .sql_store import SqlStore
from .witness_file import ChainPosition

Signed = Callable[[StoredRun], Sequence[Addendum]]
"""The addenda that are to follow those of a run. Raises UsageError where they make no sense."""


@dataclass(frozen=True)
class Wanted:
    """An addendum that somebody wants to add."""

    what: AddendumKind
    operator: str
    reason: str = ""
    paper: PaperData | None = None
    authority: Authority | None = None
    issued: IssuedPaper | None = None


def add_addendum(store: SqlStore, run_id: str, wanted: Wanted) -> Addendum:
    """Sign and store an addendum to a run; the run itself is not touched.

    Raises UsageError where it makes no sense (voiding what is void), RecordError for a damaged run.
    """

    def signed(run: StoredRun) -> tuple[Addendum]:
        _refuse_senseless(run, wanted, store.key)
        return (_signed(store.key, run, wanted),)

    return _add(store, run_id, signed)[0]


def add_approval(
    store: SqlStore, run_id: str, wanted: Wanted, paper_of: Callable[[StoredRun], IssuedPaper]
) -> tuple[Addendum, Addendum]:
    """Sign and store an approval, and after it which paper was issued with it, both or neither.

    `paper_of`: makes the paper of the approved run. Raises as `add_addendum` does.
    """
    before = store.stored_run(run_id)
    _refuse_senseless(before, wanted, store.key)
    approval = _signed(store.key, before, wanted)
    approved = replace(before, addenda=(*before.addenda, approval))
    issuing = Wanted("issued", wanted.operator, issued=paper_of(approved))
    issue = _signed(store.key, approved, issuing)

    def signed(now: StoredRun) -> tuple[Addendum, Addendum]:
        if now.addenda != before.addenda:
            raise UsageError(
                f"Somebody else declared something of run {run_id} in the meantime.",
                "Nothing was approved.",
                f"See it with '{typed_command(f'record show {run_id}')}', then approve again.",
            )
        return approval, issue

    _add(store, run_id, signed)
    return approval, issue


def _add(store: SqlStore, run_id: str, signed: Signed) -> Sequence[Addendum]:
    """Store what `signed` makes for a checked run, in one transaction; return it."""
    with store.database.write() as connection:
        store.refuse_loss(connection)
        lock_ledger(connection)
        row = find_run(connection, run_id)
        if row is None:
            raise store.unknown_run_error(run_id)
        run = _checked_run(store, connection, row)
        addenda = signed(run)
        if run.seal is None:  # another program may be writing to it
            take_lease(connection, row["number"], run_id, LeaseHolder.this_program())
            release_lease(connection, row["number"])
        entries = [add_addendum_entry(connection, row["number"], one) for one in addenda]
        seen = ChainPosition(entries[-1].number, entries[-1].hash)
        store.witness.note_intended_entry(seen)
    store.witness.note_committed_entry(seen)
    return addenda


def add_addendum_entry(connection: Connection, number: int, addendum: Addendum) -> LedgerEntry:
    """Append the ledger entry of an addendum to run number `number`."""
    said = addendum.statement
    content = {"run": said.run, "addendum": addendum.document()}
    return add_entry(connection, said.what, number, content)


def _checked_run(store: SqlStore, connection: Connection, row: Row) -> StoredRun:
    """The run, verified: nothing is added to a damaged one. Raises RecordError."""
    try:
        run = read_run(connection, row)
        verified_events(run)
    except BrokenRunError as broken:
        raise store.damaged_run_error(row["run_id"], broken) from None
    return run


def _signed(key: OperatorKey, run: StoredRun, wanted: Wanted) -> Addendum:
    """The addendum that follows those of `run`."""
    kept = [one.statement.paper for one in run.addenda if one.statement.paper is not None]
    changes = paper_changes(kept[-1] if kept else None, wanted.paper)
    statement = AddendumStatement(
        what=wanted.what,
        run=run.run_id,
        head=run.head.hex(),
        number=len(run.addenda) + 1,
        after=run.addenda[-1].digest if run.addenda else "",
        operator=wanted.operator,
        signed_at=RealClock().wall(),
        reason=wanted.reason,
        paper=wanted.paper,
        changes=changes if wanted.what == "amended" else None,
        authority=wanted.authority,
        issued=wanted.issued,
        key=key.public,
    )
    return Addendum(statement=statement, signature=key.sign(statement.signed_bytes()))


def _refuse_senseless(run: StoredRun, wanted: Wanted, key: OperatorKey) -> None:
    """Raise UsageError where the state of the run does not allow the addendum."""
    void = is_voided(run.addenda)
    named = f"Run {run.run_id}"
    if wanted.what == "reinstated" and not void:
        raise UsageError(f"{named} is not void.", "There is nothing to reinstate.")
    if wanted.what != "reinstated" and void:
        raise UsageError(
            f"{named} is void.",
            "Nothing was added.",
            f"If it should not be: {typed_command(f'record reinstate {run.run_id} --reason WHY')}",
        )
    if wanted.what in ("approved", "amended") and run.seal is None:
        is_over = is_refused(tuple(map(parsed_event, run.events)))
        raise UsageError(
            f"{named} was refused, and is over." if is_over else f"{named} is not finished.",
            "A certificate speaks of whole runs only, so there is none to approve or amend.",
            "Begin a new run."
            if is_over
            else "Go on with it by --resume, or: "
            + typed_command(f"record void {run.run_id} --reason WHY"),
        )
    if wanted.what != "approved" and not wanted.reason.strip():
        raise UsageError("No reason was given.", do="Say why with --reason.")
    if wanted.what == "approved" and _approved_by(run, key.public):
        raise UsageError(
            f"{named} is approved already with this key.",
            "A second signature is another person's, with a key of their own.",
            "Where a wrong name was signed: "
            + typed_command(f"record amend {run.run_id} --reason WHY")
            + ", then approve that issue.",
        )


def _approved_by(run: StoredRun, key: str) -> bool:
    """Whether `key` has approved the newest issue of the certificate."""
    for one in reversed(run.addenda):
        if one.statement.what == "amended":
            return False
        if one.statement.what == "approved" and one.statement.key == key:
            return True
    return False
