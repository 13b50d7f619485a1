"""The records and keys of a command; what a person should know of them is printed."""

from __future__ import annotations

from functools import partial

from ohmwright.api import open_records as places
from ohmwright.model.errors import RecordError
from ohmwright.model.typed_command import typed_command
from ohmwright.records.sql_store import SqlStore
from ohmwright.records.witness import losses
from ohmwright.reports.text import printable

from .console import print_notice

open_records = partial(places.open_records, notify=print_notice)
open_existing_records = partial(places.open_existing_records, notify=print_notice)
own_key = partial(places.own_key, notify=print_notice)
trusted_keys = partial(places.trusted_keys, notify=print_notice)


def open_records_for_reading(given: str | None) -> SqlStore:
    """Open the store at `given` to show or export its records.

    For each record that is missing from it though this computer has seen it there, a warning is
    printed on standard error; the others can be read. Where nothing is missing, this computer
    remembers from now on how far the ledger goes. Raises UsageError where nothing was ever recorded
    there.
    """
    store = open_existing_records(given)
    try:
        with store.database.read() as connection:
            lost = [str(one) for one in losses(connection, store.witness) if one.kind == "wrong"]
        if not lost:
            store.remember_ledger()
    except RecordError as error:  # an unreadable witness, or a damaged table
        lost = [error.happened]
    for what in lost:
        print_notice(printable(f"Warning: {what}. See: {typed_command('record verify')}"))
    return store
