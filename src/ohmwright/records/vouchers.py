"""Keys that somebody vouches for, kept with the records, so that each reader need not list them.

A voucher is an entry of the ledger, signed by whoever vouches. It counts for a reader who trusts
that key by a list of their own, and no further: who was vouched for vouches for nobody. A store
alone shows nothing: whoever forges it can vouch for themselves.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime
from typing import Any, Literal

from pydantic import ValidationError
from sqlalchemy import Connection, select

from ohmwright.model.base import FrozenModel
from ohmwright.wire.clock import RealClock

from .audit_finding import AuditFinding
from .canonical_json import canonical_json
from .ledger import NO_RUN, add_entry, entry_document
from .seal import is_signed_by
from .sql_store import SqlStore
from .tables import LEDGER
from .witness_file import ChainPosition

_PURPOSE = b"ohmwright voucher 1\n"  # so that no signature made for another purpose fits
KeyDecision = Literal["trust", "distrust"]


class VoucherStatement(FrozenModel):
    """What is signed: that a key is trusted in one store, or no longer."""

    store: str
    what: KeyDecision
    key: str
    """Public key in hexadecimal."""
    name: str
    """Whose it is."""
    by: str
    """Public key of whoever vouches."""
    at: datetime

    def signed_bytes(self) -> bytes:
        """The bytes under the signature."""
        return _PURPOSE + canonical_json(self.model_dump(mode="json"))


class Voucher(FrozenModel):
    """A statement and the Ed25519 signature over it, in hexadecimal."""

    statement: VoucherStatement
    signature: str

    def is_valid(self, store_id: str) -> bool:
        """Whether the signature fits the statement, its key, and the store that it is kept in."""
        said = self.statement
        return said.store == store_id and is_signed_by(said.by, self.signature, said.signed_bytes())


def add_voucher(store: SqlStore, what: KeyDecision, key: str, name: str = "") -> None:
    """Vouch for a key with the key of this computer, or take that back; kept in the ledger.

    Raises RecordError where the key cannot sign or the store has lost something.
    """
    statement = VoucherStatement(
        store=store.store_id,
        what=what,
        key=key,
        name=" ".join(name.split()),
        by=store.key.public,
        at=RealClock().wall(),
    )
    voucher = Voucher(
        statement=statement, signature=store.key.sign(statement.signed_bytes())
    ).model_dump(mode="json")
    with store.database.write() as connection:
        store.refuse_loss(connection)
        entry = add_entry(connection, "vouched", NO_RUN, {"run": "", "voucher": voucher})
        seen = ChainPosition(entry.number, entry.hash)
        store.witness.note_intended_entry(seen)
    store.witness.note_committed_entry(seen)


def vouchers(store: SqlStore) -> Iterator[VoucherStatement]:
    """Yield what each valid voucher of a store says, in the order of the ledger."""
    with store.database.read() as connection:
        documents = [document for _, document in _documents(connection)]
    for document in documents:
        with suppress(ValidationError):
            voucher = Voucher.model_validate(document)
            if voucher.is_valid(store.store_id):
                yield voucher.statement


def wrong_vouchers(connection: Connection, store: SqlStore) -> Iterator[AuditFinding]:
    """A finding for each voucher that is not signed by the key that it names."""
    for number, document in _documents(connection):
        try:
            good = Voucher.model_validate(document).is_valid(store.store_id)
        except ValidationError:
            good = False
        if not good:
            yield AuditFinding(f"the voucher in entry {number} of the ledger is not signed so")


def _documents(connection: Connection) -> Iterator[tuple[int, Any]]:
    query = select(LEDGER.c.number, LEDGER.c.document).where(LEDGER.c.what == "vouched")
    for number, document in connection.execute(query.order_by(LEDGER.c.number)):
        yield number, entry_document(document).get("voucher")
