"""The store that a command works with, and the run that a person means."""

from __future__ import annotations

from ohmwright.model.errors import UsageError
from ohmwright.records.database import is_url, sqlite_file
from ohmwright.records.sql_store import SqlStore, open_store

from .places import operator_key, records_place, witness_folder


def open_records(given: str | None) -> SqlStore:
    """The store at `given`, made when there is none."""
    return open_store(records_place(given), operator_key(), witness_folder())


def existing_records(given: str | None) -> SqlStore:
    """The store at `given`. Raises UsageError when nothing was ever recorded there."""
    place = records_place(given)
    if not is_url(place) and not sqlite_file(place).exists():
        raise UsageError(
            f"There are no records in {place} yet.",
            do="Run something first, or say where they are with --records.",
        )
    return open_records(given)


def meant(store: SqlStore, run_id: str) -> str:
    """The run called `run_id`, or the newest for `last`."""
    if run_id != "last":
        return run_id
    run_ids = store.run_ids()
    if not run_ids:
        raise UsageError(f"There are no runs in {store.database.place} yet.", do="Run one first.")
    return run_ids[-1]
