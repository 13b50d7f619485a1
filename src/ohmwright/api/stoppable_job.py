"""A job at an open bench that ends where the block of the bench ends, with RF off before that."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from anyio import CancelScope, Event

from ohmwright.model.errors import UsageError


class StoppableJob:
    """Knows the job of a bench, so that another task, or thread, can leave the bench's block.

    Lines that were closed beneath a job would leave it with RF on and nothing to say OFF by.
    """

    def __init__(self) -> None:
        self._scope: CancelScope | None = None
        self._ended = Event()

    @contextmanager
    def going_on(self) -> Iterator[None]:
        """Have the job stopped by `stop` until the block ends. Raises UsageError where it was."""
        with CancelScope() as scope:
            self._scope, self._ended = scope, Event()
            try:
                yield
            finally:
                self._scope = None
                self._ended.set()
        if scope.cancelled_caught:
            raise UsageError(
                "The block that opened this bench ended while it measured.",
                "RF was switched off and read back as off; what was done until then is on record.",
                "Wait for the job within the block. It can go on: resume.",
            )

    async def stop(self) -> None:
        """Cancel the job that goes on, if one does, and return when it has ended."""
        if self._scope is not None:
            self._scope.cancel()
            with CancelScope(shield=True):
                await self._ended.wait()
