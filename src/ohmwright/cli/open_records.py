"""The store that a command works with, and the run that a person means."""

from __future__ import annotations

from pathlib import Path

from ohmwright.model.errors import RecordError, SourceError, UsageError
from ohmwright.records.database import is_url, sqlite_file
from ohmwright.records.keys import OperatorKey
from ohmwright.records.sql_store import KEY_MEMORY_FILE, SqlStore, open_store
from ohmwright.records.trust import TrustedKeys
from ohmwright.records.witness import losses
from ohmwright.reports.text import printable

from .console import say
from .places import operator_key, records_place, trusted_list, witness_folder


def open_records(given: str | None) -> SqlStore:
    """The store at `given`, made when there is none."""
    return open_store(records_place(given), operator_key(), witness_folder(), say)


def existing_records(given: str | None) -> SqlStore:
    """The store at `given`. Raises UsageError when nothing was ever recorded there."""
    if not are_there(given):
        raise UsageError(
            f"There are no records in {records_place(given)} yet.",
            do="Run something first, or say where they are with --records.",
        )
    return open_records(given)


def records_to_read(given: str | None) -> SqlStore:
    """The store at `given`, to show or hand over what it holds.

    Where it lacks something that this computer has seen of it, a warning for each loss goes to
    the standard error output; what is left can still be read. Raises UsageError when nothing was
    ever recorded there.
    """
    store = existing_records(given)
    try:
        with store.database.read() as connection:
            lost = [str(one) for one in losses(connection, store.witness) if one.kind == "wrong"]
    except RecordError as error:  # an unreadable witness, or a damaged table
        lost = [error.happened]
    for what in lost:
        say(printable(f"Warning: {what}. See: ohmwright record verify"))
    return store


def are_there(given: str | None) -> bool:
    """Whether something may have been recorded at `given`; a server is asked when it is opened."""
    place = records_place(given)
    return is_url(place) or sqlite_file(place).exists()


def own_key() -> OperatorKey:
    """The key that this computer signs with."""
    return OperatorKey(operator_key(), witness_folder() / KEY_MEMORY_FILE, say)


def trusted_keys(given: Path | None) -> TrustedKeys:
    """Those of the list `given` and no other; without one the user's own list and own keys.

    Raises SourceError for a list that is not there or makes no sense.
    """
    if given is None:
        return TrustedKeys(trusted_list(), own_key().own_keys())
    if not given.exists():
        raise SourceError(f"{given}: there is no such list of trusted keys.")
    return TrustedKeys(given)


def meant(store: SqlStore, run_id: str) -> str:
    """The run called `run_id`, or the newest for `last`."""
    if run_id != "last":
        return run_id
    run_ids = store.run_ids()
    if not run_ids:
        raise UsageError(f"There are no runs in {store.database.place} yet.", do="Run one first.")
    return run_ids[-1]
