"""Runs work beside a watch, which may end the work early."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable

import anyio


async def done_while_watched(
    work: Callable[[], Awaitable[object]], watch: Callable[[], Awaitable[None]]
) -> bool:
    """Run `work`; return False where `watch` returned first and `work` was cancelled.

    What `watch` raises cancels `work`, too, and is raised, even where `work` raises at the same
    time: it may have seen something of RF. Once `work` is done, `watch` is cancelled and awaited; a
    shielded part of it runs to its end. A cancellation from outside is heard before either.
    """
    watching = anyio.CancelScope()
    with anyio.CancelScope() as working:

        async def watch_and_end_work() -> None:
            with watching:
                try:
                    await watch()
                finally:
                    if not watching.cancel_called:  # it ended by itself, not with the work
                        working.cancel()

        # no task group: what `work` raises is to come out as it is, not within a group
        task = asyncio.get_running_loop().create_task(watch_and_end_work())
        try:
            try:
                await work()
            finally:
                watching.cancel()
                with anyio.CancelScope(shield=True):
                    await asyncio.wait([task])
        except Exception:
            task.result()  # raises what the watch raised, where it did
            raise
    task.result()
    return not working.cancelled_caught
