"""The abstract line: it carries bytes to one instrument and back."""

from __future__ import annotations

from abc import ABC, abstractmethod

import anyio


class Link(ABC):
    """A byte stream. It knows nothing of commands, replies or terminators."""

    name: str
    """The name that messages show: a port, an address, a simulated instrument."""
    guarded: bool = False
    """Whether a guard process owns the line's port and sends OFF when this program is gone."""
    harmless: bool = False
    """Whether what it reaches is invented hardware that makes no RF, so that nothing need guard it.
    """

    @abstractmethod
    async def write(self, data: bytes) -> None:
        """Send all of `data`.

        Raises LinkLost where the line is gone, LinkTimeout where it does not take the bytes in a
        bounded time.
        """

    @abstractmethod
    async def read(self, timeout_s: float) -> bytes:
        """The bytes that have come, at least one, waiting for `timeout_s` at most.

        Raises LinkTimeout where none came, LinkLost where the line is gone. A cancelled read loses
        no byte and leaves no thread behind that could take one.
        """

    @abstractmethod
    async def aclose(self) -> None:
        """Close the line. Safe to call twice."""

    def waiting(self) -> bytes:
        """The bytes that have come already, perhaps none; never waits.

        Raises LinkLost where the line is gone, or leaves that to `read`.
        """
        return b""

    async def heartbeat(self) -> None:
        """Tell a guard that the engine is alive, though it has nothing to send."""
        return

    async def expect_traffic(self, every_s: float | None) -> None:  # noqa: ARG002
        """Promise to use the line at least every `every_s` seconds of the machine's time.

        Called before ON; None, after a confirmed release, takes the promise back. A guard sends OFF
        when the promise is broken; a line without a guard does nothing here.
        """
        return

    async def check_guard(self) -> None:
        """After a silence: raise LinkLost where a guard owns the line and does not itself answer.

        Then nothing can be said of the instrument.
        """
        return

    async def until_failed(self) -> None:
        """Return when the line has failed while nobody uses it, where anything can tell."""
        await anyio.sleep_forever()

    async def reconnect(self) -> bool:
        """After LinkLost: whether the same instrument was found again within some seconds.

        If so the line is open and out of step. A line without a guard stays lost.
        """
        return False

    async def prove_watchdog(self) -> float | None:
        """Break a promise on purpose; the seconds until the guard had read the output back as off.

        None where there is no guard; LinkError where it does not trip. Afterwards the line is out
        of step and the earlier promise holds again.
        """
        return None
