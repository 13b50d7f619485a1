"""Work that a cancellation may delay the news of, but not cut short."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from typing import Any, TypeVar

import anyio

T = TypeVar("T")
_BEGUN_AT_MOST = 40


async def uncancellable(work: Callable[[], Coroutine[Any, Any, T]]) -> T:
    """What `work` returns; a cancellation of any kind and number is heard after it.

    A shielded scope alone is pierced by `Task.cancel()`, so the work has a task of its own; where
    that too is cancelled (as a loop that shuts down does to all), the work is begun anew. What
    the work raises counts for more than the cancellation.
    """
    heard: asyncio.CancelledError | None = None
    for _ in range(_BEGUN_AT_MOST):
        task = asyncio.get_running_loop().create_task(work())
        while not task.done():
            try:
                with anyio.CancelScope(shield=True):
                    await asyncio.wait([task])
            except asyncio.CancelledError as cancelled:
                heard = cancelled
        if not task.cancelled():
            break
    result = task.result()
    if heard is not None:
        raise heard
    return result
