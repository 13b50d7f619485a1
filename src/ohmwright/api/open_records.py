"""Open a store of records; the run, key and trusted keys that a caller names."""

from __future__ import annotations

from pathlib import Path

from ohmwright.model.errors import RecordError, SourceError, UsageError
from ohmwright.model.typed_command import typed_command
from ohmwright.records.keys import OperatorKey
from ohmwright.records.notices import Notify, no_notice
from ohmwright.records.open_database import is_url, sqlite_file
from ohmwright.records.sql_store import KEY_MEMORY_FILE, SqlStore, open_store
from ohmwright.records.trust import TrustedKeys
from ohmwright.records.vouchers import vouchers
from ohmwright.records.witness import losses

from .paths import (
    RecordsAt,
    operator_key_file,
    records_location,
    trusted_keys_file,
    witness_folder,
)


def open_records(given: RecordsAt | None, notify: Notify = no_notice) -> SqlStore:
    """Open the store at `given` (default: the user's own); create it where there is none.

    `notify` gets messages that a person should see.
    """
    return open_store(records_location(given), operator_key_file(), witness_folder(), notify)


def open_existing_records(given: RecordsAt | None, notify: Notify = no_notice) -> SqlStore:
    """Open the store at `given`. Raises UsageError where nothing was ever recorded there."""
    if not records_exist(given):
        raise UsageError(
            f"There are no records in {records_location(given)} yet.",
            do="Run something first, or say where they are: --records, in a program records=.",
        )
    return open_records(given, notify)


def open_records_for_reading(given: RecordsAt | None, notify: Notify = no_notice) -> SqlStore:
    """Open the store at `given` to show or export its records.

    `notify` gets a warning for each record that is missing from it though this computer has seen it
    there; the others can be read. Where nothing is missing, this computer remembers from now on how
    far the ledger goes. Raises UsageError where nothing was ever recorded there.
    """
    store = open_existing_records(given, notify)
    try:
        with store.database.read() as connection:
            lost = [str(one) for one in losses(connection, store.witness) if one.kind == "wrong"]
        if not lost:
            store.remember_ledger()
    except RecordError as error:  # an unreadable witness, or a damaged table
        lost = [error.happened]
    for what in lost:
        notify(f"Warning: {what}. See: {typed_command('record verify')}")
    return store


def records_exist(given: RecordsAt | None) -> bool:
    """Whether there is a store at `given`; True for a database server, which is not asked."""
    place = records_location(given)
    return is_url(place) or sqlite_file(place).exists()


def own_key(notify: Notify = no_notice) -> OperatorKey:
    """Return the key with which this computer signs; its file is not read yet."""
    return OperatorKey(operator_key_file(), witness_folder() / KEY_MEMORY_FILE, notify)


def trusted_keys(
    given: Path | None, store: SqlStore | None = None, notify: Notify = no_notice
) -> TrustedKeys:
    """Return the keys of the list `given`; without one, the user's own list and own keys.

    With `store` also those that one of the user's keys vouches for there. Raises SourceError for a
    list that is missing or cannot be read.
    """
    if given is None:
        trusted = TrustedKeys(trusted_keys_file(), own_key(notify).own_keys())
        if store is not None:
            trusted.count_vouchers(vouchers(store))
        return trusted
    if not given.exists():
        raise SourceError(f"{given}: there is no such list of trusted keys.")
    return TrustedKeys(given)


def resolved_run_id(store: SqlStore, run_id: str) -> str:
    """Return `run_id`, or the id of the newest run for `last`.

    Raises UsageError for `last` where there are no runs.
    """
    if run_id != "last":
        return run_id
    run_ids = store.run_ids()
    if not run_ids:
        raise UsageError(f"There are no runs in {store.database.place} yet.", do="Run one first.")
    return run_ids[-1]
