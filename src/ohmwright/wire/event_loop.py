"""The event loop that lines and clocks need."""

from __future__ import annotations

import asyncio

from ohmwright.model.errors import UsageError


def refuse_other_event_loop() -> None:
    """Raise UsageError where the program that awaits runs in no event loop of asyncio.

    A line waits for bytes in that of asyncio alone: in another one OFF could not be read back.
    """
    try:
        asyncio.get_running_loop()
    except RuntimeError:
        raise UsageError(
            "A bench is worked in an event loop of asyncio, and this one is of another kind.",
            "Nothing was switched on.",
            'Run it by asyncio; with anyio\'s pytest plugin let anyio_backend return "asyncio".',
        ) from None
