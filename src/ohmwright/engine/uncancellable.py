"""Runs work to its end even where it is cancelled; the cancellation is raised afterwards."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from typing import Any, TypeVar

import anyio

T = TypeVar("T")
"""What the work returns."""
_BEGUN_AT_MOST = 40
"""Times that the work is begun where its own task is cancelled."""


async def uncancellable(work: Callable[[], Coroutine[Any, Any, T]]) -> T:
    """Run `work` to its end and return its result; raise a cancellation only after it.

    A second `Task.cancel()` pierces a shielded scope, so the work has a task of its own; where that
    is cancelled, too (as a loop that shuts down does to all tasks), the work is begun anew. An
    error of the work is raised rather than the cancellation.
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
