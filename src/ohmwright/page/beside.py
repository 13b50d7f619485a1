"""Work that waits for a disk, done in a thread: meanwhile other benches go on and STOP is heard."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from functools import partial
from typing import TypeVar

import anyio

from ohmwright.api.open_records import open_existing_records, open_records
from ohmwright.engine.uncancellable import uncancellable
from ohmwright.model.event import Event
from ohmwright.records.sql_store import SqlStore
from ohmwright.records.store import Store

R = TypeVar("R")


async def beside(work: Callable[[], R]) -> R:
    """Return what `work` returns, done in a thread to its end; then a cancellation is raised."""
    done = asyncio.get_running_loop().run_in_executor(None, work)

    async def awaited() -> R:
        return await asyncio.shield(done)  # begun anew, it waits for the same work

    return await uncancellable(awaited)


async def kept_beside(store: Store, run_id: str, event: Event) -> None:
    """Store an event; it is on disk when this returns."""
    await beside(partial(store.append, run_id, event))


@asynccontextmanager
async def opened_records(place: str | None, *, existing: bool) -> AsyncIterator[SqlStore]:
    """Open the store at `place` until the block ends; `existing`: it is not made.

    Raises UsageError, RecordError; the latter also where its key cannot be read, since a run that
    nobody can sign is not begun.
    """
    opening = partial(open_existing_records if existing else open_records, place)
    with anyio.CancelScope(shield=True):  # else what was opened would not be closed
        store = await beside(opening)
    try:
        await beside(store.key.load)
        yield store
    finally:
        await beside(store.close)
