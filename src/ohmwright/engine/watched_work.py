"""Runs work that is cancelled when what is watched beside it ends it."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable

import anyio


async def done_while_watched(
    work: Callable[[], Awaitable[object]], watch: Callable[[], Awaitable[None]]
) -> bool:
    """Run `work`; return False where `watch` returned first and `work` was cancelled.

    What `watch` raises cancels `work`, too, and is raised. Once `work` is done, `watch` is
    cancelled and has ended.
    """
    watching = anyio.CancelScope()
    with anyio.CancelScope() as scope:

        async def end_with_it() -> None:
            with watching:
                try:
                    await watch()
                finally:
                    if not watching.cancel_called:
                        scope.cancel()

        task = asyncio.get_running_loop().create_task(end_with_it())
        try:
            await work()
        finally:
            watching.cancel()
            with anyio.CancelScope(shield=True):
                await asyncio.wait([task])
    task.result()
    return not scope.cancelled_caught
