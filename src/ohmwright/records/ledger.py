"""The ledger: one chain of entries through a store, for each run opened, sealed or imported.

Also for one that was handed over to another store, or taken back, approved, issued, amended, voided
or reinstated, and for each key that somebody vouches for.

An entry's document names the hash of the entry before it; the document that opens a run is the
first link of the run's own chain. So each run is tied to all that came before it.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from sqlalchemy import Connection, func, insert, select, text

from .addendum import Addendum, AddendumKind
from .canonical_json import canonical_json, sha256_digest
from .chain import BrokenRunError
from .seal import Seal
from .tables import LEDGER, RUNS

EntryKind = (
    Literal["opened", "sealed", "imported", "handed over", "taken back", "vouched"] | AddendumKind
)
NO_RUN = 0
"""Number of the run of an entry that is about none."""
ZERO_HASH = bytes(32)
"""What the first entry names as the hash before it."""


@dataclass(frozen=True)
class LedgerEntry:
    """One entry; `hash` is the SHA-256 of its document."""

    number: int
    document: bytes
    hash: bytes


def add_entry(
    connection: Connection,
    what: EntryKind,
    run: int,
    content: Mapping[str, object],
    verdict: str | None = None,
) -> LedgerEntry:
    """Append an entry about run number `run` and return it; other writers wait until this ends."""
    lock_ledger(connection)
    number, after = last_entry(connection)
    document = canonical_json({"after": after.hex(), "number": number + 1, "what": what, **content})
    entry = LedgerEntry(number + 1, document, sha256_digest(document))
    row = {"number": entry.number, "run": run, "what": what, "verdict": verdict}
    connection.execute(insert(LEDGER), [row | {"document": document, "hash": entry.hash}])
    return entry


def last_entry(connection: Connection) -> tuple[int, bytes]:
    """Number and hash of the newest entry; 0 and ZERO_HASH in an empty store."""
    newest = select(LEDGER.c.number, LEDGER.c.hash).order_by(LEDGER.c.number.desc()).limit(1)
    row = connection.execute(newest).first()
    return (0, ZERO_HASH) if row is None else (row.number, row.hash)


def next_run_number(connection: Connection) -> int:
    """The number of a new run, which no other program can take before this transaction ends."""
    lock_ledger(connection)
    newest = connection.execute(select(func.max(RUNS.c.number))).scalar()
    return 1 if newest is None else int(newest) + 1


def lock_ledger(connection: Connection) -> None:
    """Let no other program write to the ledger until this transaction ends.

    To be called before anything else is locked, or two transactions could wait for each other.
    SQLite has one writer at a time anyway. In PostgreSQL a function of the tables' owner takes the
    lock, for which a bench that may only add lacks the right.
    """
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT lock_ledger()"))


def is_finished(connection: Connection, run: int) -> bool:
    """Whether run number `run` has a verdict, and with it a seal."""
    query = select(LEDGER.c.number).where(LEDGER.c.run == run, LEDGER.c.verdict.is_not(None))
    return connection.execute(query.limit(1)).first() is not None


def is_handed_over(connection: Connection, run: int) -> bool:
    """Whether run number `run` goes on in another store, by the newest entry on where it does."""
    where = LEDGER.c.what.in_(("handed over", "taken back", "imported"))
    query = select(LEDGER.c.what).where(LEDGER.c.run == run, where)
    query = query.order_by(LEDGER.c.number.desc())
    return connection.execute(query.limit(1)).scalar() == "handed over"


def end_of_run(connection: Connection, run: int) -> tuple[Seal | None, tuple[Addendum, ...]]:
    """The newest seal of run number `run`, None while it has none, and its addenda in order.

    Raises BrokenRunError.
    """
    query = select(LEDGER.c.document).where(LEDGER.c.run == run, LEDGER.c.what != "opened")
    documents = list(connection.execute(query.order_by(LEDGER.c.number)).scalars())
    seals = [seal for seal in map(seal_of_entry, documents) if seal is not None]
    addenda = [one for one in map(addendum_of_entry, documents) if one is not None]
    return seals[-1] if seals else None, tuple(addenda)


def seal_of_entry(document: bytes) -> Seal | None:
    """The seal in the document of an entry; None where it has none. Raises BrokenRunError."""
    try:
        held: Any = json.loads(document).get("seal")
        return None if held is None else Seal.model_validate(held)
    except (ValueError, AttributeError, RecursionError):
        raise BrokenRunError("its seal is damaged") from None


def addendum_of_entry(document: bytes) -> Addendum | None:
    """The addendum in the document of an entry; None where it has none. Raises BrokenRunError."""
    try:
        held: Any = json.loads(document).get("addendum")
        return None if held is None else Addendum.model_validate(held)
    except (ValueError, AttributeError, RecursionError):
        raise BrokenRunError("an addendum to it is damaged") from None


def entry_document(text: bytes) -> dict[str, Any]:
    """The JSON object of an entry's document; empty where the bytes hold none."""
    try:
        document = json.loads(text)
    except (ValueError, RecursionError):
        return {}
    return document if isinstance(document, dict) else {}
