"""Runs work that is cancelled when the line behind it fails."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable

import anyio


async def done_before_link_failure(
    work: Callable[[], Awaitable[object]], until_failed: Callable[[], Awaitable[None]]
) -> bool:
    """Run `work`; return False where `until_failed` returned first and `work` was cancelled."""
    with anyio.CancelScope() as scope:

        async def end_with_it() -> None:
            await until_failed()
            scope.cancel()

        watching = asyncio.get_running_loop().create_task(end_with_it())
        try:
            await work()
        finally:
            watching.cancel()
            with anyio.CancelScope(shield=True):
                await asyncio.wait([watching])
    return not scope.cancelled_caught
