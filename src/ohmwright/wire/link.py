"""The seam under everything: a line that carries bytes to one instrument and back."""

from __future__ import annotations

from abc import ABC, abstractmethod

import anyio


class Link(ABC):
    """A byte stream. It knows nothing of commands, replies or terminators."""

    name: str
    """What a person calls it: a port, an address, a simulated instrument."""
    guarded: bool = False
    """Whether a guard process owns the line's port and sends OFF when this program is gone."""

    @abstractmethod
    async def write(self, data: bytes) -> None:
        """Send all of `data`.

        Raises LinkLost when the line is gone and LinkTimeout when it does not take the bytes in
        a bounded time (there is always a bound).
        """

    @abstractmethod
    async def read(self, timeout_s: float) -> bytes:
        """Return the bytes that have come, at least one; wait no longer than `timeout_s`.

        Raises LinkTimeout when none came and LinkLost when the line is gone. A cancelled read
        loses no byte and leaves no thread behind that could take one.
        """

    @abstractmethod
    async def aclose(self) -> None:
        """Give the line back. Safe to call twice."""

    async def expect_traffic(self, every_s: float | None) -> None:  # noqa: ARG002
        """From now on the line is used at least every `every_s` of the machine's time.

        Said before ON; None, after a confirmed release, takes it back. A line with a guard has
        OFF sent when the promise is broken; any other does nothing.
        """
        return

    async def until_failed(self) -> None:
        """Return when the line has failed while nobody uses it, where anything can tell that."""
        await anyio.sleep_forever()

    async def reconnect(self) -> bool:
        """After the line was lost: whether the same instrument was found again, in some seconds.

        Then the line is open as at first and out of step. A line without a guard stays lost.
        """
        return False

    async def prove_watchdog(self) -> float | None:
        """Break a promise and see the guard send OFF; raises LinkError where it does not.

        Returns the seconds from there until the guard had read the output back as off; None where
        there is no guard. Afterwards the line is out of step and the promise that stood
        before stands again.
        """
        return None
