"""A line through a guard process, which owns the port."""

from __future__ import annotations

from contextlib import suppress

import anyio

from ohmwright.model.errors import GuardTripped, LinkError, LinkLost, LinkTimeout
from ohmwright.wire.clock import RealClock
from ohmwright.wire.link import Link
from ohmwright.wire.links.failures import lost, silent
from ohmwright.wire.portlock import PortLock

from .channel import GuardChannel, OpenFailure
from .frames import ACKNOWLEDGED, DATA, HEARTBEAT, WATCH
from .launcher import Locate, PortLocation, launch_guard
from .making_orders import GuardOrders

CLOSE_WITHIN_S = 10.0
"""Longest wait in seconds for a guard to trip or to end: it may have to release the output."""
RECONNECT_WITHIN_S = 4.0
"""Longest search in seconds for a lost line: whoever waits does not know whether RF is off."""
_LOOK_EVERY_S = 0.1
_TEST_PERIOD_S = 0.05


class GuardedLink(Link):
    """A line through a guard process.

    When the guard has tripped, the next read or write raises GuardTripped, once; after that the
    line works again, so that the output can be released.
    """

    guarded = True

    def __init__(
        self, locate: Locate, commands: GuardOrders, place: PortLocation, lock: PortLock
    ) -> None:
        self._locate, self._commands, self._lock = locate, commands, lock
        self._open = True
        self._every_s: float | None = None
        """The promise to the guard: a frame at least so often, in seconds; None where none is."""
        self._use(self._new_channel(place))

    def _new_channel(self, place: PortLocation) -> GuardChannel:
        try:
            return GuardChannel(place.name, launch_guard(place, self._commands, self._lock))
        except OSError as refused:
            raise LinkError(
                f"The guard of {place.name} cannot be started: {refused.strerror}.",
                "Nothing was sent.",
                "End other programs, or have the limits of processes and open files raised.",
            ) from refused

    def _use(self, channel: GuardChannel) -> None:
        self._channel, self.name = channel, channel.name

    async def wait_ready(self) -> OpenFailure | None:
        """Wait for the guard to open the port; what went wrong where it could not."""
        return await self._channel.wait_ready()

    async def write(self, data: bytes) -> None:
        """Send all of `data`; the guard hands it on within a second.

        Raises GuardTripped, LinkTimeout or LinkLost.
        """
        if self._every_s is not None:
            self._channel.process_frames()
        self._channel.raise_error()
        await self._send(DATA, data)

    async def read(self, timeout_s: float) -> bytes:
        """Return what comes within `timeout_s`; a silent wait is a heartbeat to the guard.

        Raises GuardTripped, LinkTimeout or LinkLost.
        """
        if not self._open:
            raise lost(self.name, "it was closed here")
        channel = self._channel
        left_s, end_s = timeout_s, anyio.current_time() + timeout_s
        while left_s > 0 and not channel.has_news:
            await channel.wait_frames(left_s)
            left_s = end_s - anyio.current_time()
        if channel.received:
            return channel.take_received()
        channel.raise_error()
        if self._every_s is not None:
            await self._send(HEARTBEAT)
        raise silent(self.name, timeout_s)

    def waiting(self) -> bytes:
        """The bytes that have come already; what went wrong is left to the next read or write."""
        self._channel.process_frames()
        return self._channel.take_received()

    async def heartbeat(self) -> None:
        """Tell the guard that the engine is alive, where it was promised to hear of it."""
        if self._every_s is not None:
            await self._send(HEARTBEAT)

    async def _send(self, kind: bytes, data: bytes = b"") -> None:
        if not self._open:
            raise lost(self.name, "it was closed here")
        await self._channel.send(kind, data)

    async def expect_traffic(self, every_s: float | None) -> None:
        """Have the guard send OFF when no frame comes for `every_s`; None withdraws that."""
        await self._send(WATCH, b"" if every_s is None else repr(every_s).encode())
        self._every_s = every_s

    async def prove_watchdog(self) -> float:
        """Stay silent until the guard has tripped and read off; the seconds that took.

        Raises LinkTimeout where it does not trip, GuardTripped where it reads anything but off.
        """
        channel, promised_s = self._channel, self._every_s
        channel.tripped = False
        try:
            await self.expect_traffic(_TEST_PERIOD_S)
            broken_s = anyio.current_time() + _TEST_PERIOD_S
            with anyio.move_on_after(CLOSE_WITHIN_S):
                while not channel.tripped and channel.ended is None:
                    await channel.wait_frames()
            took_s = anyio.current_time() - broken_s
        finally:
            error = await self._end_proof(promised_s)
        if channel.ended is not None:
            raise channel.ended
        if not channel.tripped:
            raise LinkTimeout(
                f"The guard of {self.name} does not trip.",
                "It would not switch off if this program were held up.",
                "Do not run this bench; start again, and report it if it stays so.",
            )
        if isinstance(error, GuardTripped) and not error.confirmed:
            raise error
        return took_s

    async def _end_proof(self, promised_s: float | None) -> LinkError | None:
        """Make the promise that held before a proof; return what the guard told during it.

        Also where the proof is cut short: no reply keeps the short promise, so the guard would trip
        all through the release, and a person be warned of RF that is off.
        """
        channel = self._channel
        error, channel.error, channel.received = channel.error, None, b""
        with anyio.CancelScope(shield=True), suppress(LinkError):
            if channel.tripped:
                await self._send(ACKNOWLEDGED)
            await self.expect_traffic(promised_s)
        return error

    async def check_guard(self) -> None:
        """After a silence: raise LinkLost where it is the guard that does not answer.

        The line is lost from then on, so that a release starts another guard at once.
        """
        if not await self._channel.answers():
            self._channel.ended = LinkLost(
                f"The guard of {self.name} (process {self._channel.pid}) does not answer.",
                "It was stopped or hangs, so nothing reached the instrument; this says nothing of "
                "the instrument.",
                "Find out what stopped that process. The next start has a new guard.",
            )
            raise self._channel.ended

    async def until_failed(self) -> None:
        """Return when the guard has tripped or ended, or the port is gone; nobody may read."""
        while self._channel.ended is None and self._channel.error is None:
            await self._channel.wait_frames()

    async def reconnect(self) -> bool:
        """Start another guard where the instrument is now; whether it was found in 4 s.

        The new guard is given the promise that was made to the one before.
        """
        if not self._open:
            return False
        self._channel.abandon()
        with anyio.move_on_after(RECONNECT_WITHIN_S):
            while not await self._reconnected_once():
                await RealClock().sleep(_LOOK_EVERY_S)
        return self._channel.ended is None

    async def _reconnected_once(self) -> bool:
        connected = False
        try:
            place = await self._locate()
            self._lock_place(place)
            channel = self._new_channel(place)
            try:
                ready = await channel.wait_ready() is None
                # a name may have come to mean another device since that one was locked
                connected = ready and (await self._locate()).keys == place.keys
            finally:
                if not connected:
                    channel.abandon()
        except (LinkError, OSError):
            return False
        return connected and await self._taken_over(channel)

    async def _taken_over(self, channel: GuardChannel) -> bool:
        """Whether the guard of `channel`, used from now on, has taken the promise.

        What stands between may accept a connection and close it at once, as a device server does
        that still holds the one before.
        """
        self._use(channel)
        if self._every_s is None:
            return True
        try:
            await self.expect_traffic(self._every_s)
        except LinkError:
            channel.abandon()
            return False
        return True

    def _lock_place(self, place: PortLocation) -> None:
        """Lock what `place` stands for, and only then give up what was locked."""
        if place.keys != self._lock.keys:
            before, self._lock = self._lock, PortLock(place.name, place.keys)
            before.release()

    async def aclose(self) -> None:
        """End the guard and wait for it: it may have to release the output first."""
        if not self._open:
            return
        self._open = False
        with anyio.CancelScope(shield=True), anyio.move_on_after(CLOSE_WITHIN_S):
            await self._channel.hang_up()
        self._channel.close()
        self._lock.release()


async def open_guarded(
    locate: Locate, commands: GuardOrders
) -> tuple[GuardedLink, OpenFailure | None]:
    """A line through a guard where `locate` says, and why its port could not be opened.

    Where there is such a reason the line is closed. Raises LinkBusy naming who has the port, and
    what `locate` raises.
    """
    place = await locate()
    lock = PortLock(place.name, place.keys)
    try:
        link = GuardedLink(locate, commands, place, lock)
    except BaseException:
        lock.release()
        raise
    try:
        failure = await link.wait_ready()
    except BaseException:
        await link.aclose()
        raise
    if failure is not None:
        await link.aclose()
    return link, failure
