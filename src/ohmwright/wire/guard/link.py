"""The engine's side of the guard: a line like any other, whose port another process owns."""

from __future__ import annotations

import socket
import subprocess
from contextlib import suppress
from typing import NamedTuple

import anyio

from ohmwright.model.errors import GuardTripped, LinkError, LinkTimeout
from ohmwright.wire.clock import RealClock
from ohmwright.wire.command_set import CommandSet
from ohmwright.wire.link import Link
from ohmwright.wire.links.failures import lost, silent
from ohmwright.wire.portlock import PortLock

from .frames import ACKNOWLEDGED, DATA, FAILED, HEARTBEAT, READY, TRIPPED, WATCH, Unpacker, pack
from .launcher import GuardHandle, Locate, PortLocation, launch_guard

OPEN_TIMEOUT_S = 15.0
WRITE_TIMEOUT_S = 1.0
CLOSE_BOUND_S = 10.0
FIND_AGAIN_S = 4.0
"""So long a lost line is looked for: whoever waits for it does not know whether RF is off."""
_LOOK_EVERY_S = 0.1
_END_S = 0.5
"""What a guard without port or engine may take to end before it is ended."""
_PROOF_S = 0.05
_CHUNK = 65536


class Failure(NamedTuple):
    """Why the guard could not open the port: kind of error, its number, its text."""

    kind: str
    number: int | None
    why: str


class GuardedLink(Link):
    """A line through the guard.

    Each frame goes out whole or is finished by the next one. When the guard has tripped, the
    next read or write raises GuardTripped, once: what follows is the release.
    """

    guarded = True

    def __init__(
        self, find: Locate, commands: CommandSet, place: PortLocation, lock: PortLock
    ) -> None:
        self._find, self._commands, self._lock = find, commands, lock
        self._open = True
        self._every_s: float | None = None
        self._join(place)

    def _join(self, place: PortLocation) -> None:
        """Start a guard at `place`, and the conversation with it."""
        guard: GuardHandle = launch_guard(place, self._commands, self._lock)
        self.name = place.name
        self._socket, self._guard = guard.engine, guard.process
        self._sequence, self._unsent, self._came = 0, b"", b""
        self._frames = Unpacker()
        self._problem: LinkError | None = None
        self._gone: LinkError | None = None
        self._tripped = False

    @property
    def guard_pid(self) -> int:
        """Process number of the guard."""
        return self._guard.pid

    async def write(self, data: bytes) -> None:
        """Send all of `data`; the guard hands it on in at most a second."""
        if self._every_s is not None:
            self._take()
        self._raise_problem()
        await self._send(DATA, data)

    async def read(self, timeout_s: float) -> bytes:
        """What comes within `timeout_s`; a silent wait is a sign of life to the guard too."""
        if not self._open:
            raise lost(self.name, "it was closed here")
        with anyio.move_on_after(timeout_s):
            while not self._came and self._problem is None and self._gone is None:
                await anyio.wait_readable(self._socket)
                self._take()
        if self._came:
            data, self._came = self._came, b""
            return data
        self._raise_problem()
        if self._every_s is not None:
            await self._send(HEARTBEAT)
        raise silent(self.name, timeout_s)

    async def expect_traffic(self, every_s: float | None) -> None:
        """Have the guard send OFF when no frame comes for `every_s`; None withdraws that."""
        await self._send(WATCH, b"" if every_s is None else repr(every_s).encode())
        self._every_s = every_s

    async def prove_watchdog(self) -> float:
        """Stay silent until the guard has tripped and read off; how long that took.

        Raises LinkTimeout where it does not trip, GuardTripped where it reads anything but off.
        """
        promised_s, self._tripped = self._every_s, False
        await self.expect_traffic(_PROOF_S)
        broken_s = anyio.current_time() + _PROOF_S
        with anyio.move_on_after(CLOSE_BOUND_S):
            while not self._tripped and self._gone is None:
                await anyio.wait_readable(self._socket)
                self._take()
        took_s = anyio.current_time() - broken_s
        problem, self._problem, self._came = self._problem, None, b""
        if self._gone is not None:
            raise self._gone
        if not self._tripped:
            raise LinkTimeout(
                f"The guard of {self.name} does not trip.",
                "It would not switch off if this program were held up.",
                "Do not run this bench; start again, and report it if it stays so.",
            )
        await self._send(ACKNOWLEDGED)
        await self.expect_traffic(promised_s)
        if isinstance(problem, GuardTripped) and not problem.confirmed:
            raise problem
        return took_s

    async def until_failed(self) -> None:
        """Return when the guard has tripped or ended, or the port is gone; nobody may read."""
        while self._gone is None and self._problem is None:
            await anyio.wait_readable(self._socket)
            self._take()

    async def reconnect(self) -> bool:
        """Start another guard where the instrument is now, looking for it a few seconds long.

        What was promised to the one before is promised to the new one.
        """
        if not self._open:
            return False
        self._part()
        with anyio.move_on_after(FIND_AGAIN_S):
            while not await self._rejoined():
                await RealClock().sleep(_LOOK_EVERY_S)
        return self._gone is None

    def _part(self) -> None:
        """End the guard: one that has lost its port, or hangs, could only be in the way."""
        self._gone = self._gone or lost(self.name, "it was given up")
        self._close_socket()
        try:
            self._guard.wait(timeout=_END_S)
        except subprocess.TimeoutExpired:
            self._guard.kill()
            self._guard.wait()

    async def _rejoined(self) -> bool:
        problem, joined = self._gone, False
        try:
            place = await self._find()
            self._hold(place)
            self._join(place)
            try:
                started = await self.wait_ready() is None
                # a name may have come to mean another device since that one was locked
                joined = started and (await self._find()).keys == place.keys
            finally:
                if not joined:
                    self._gone = problem
                    self._part()
        except (LinkError, OSError):
            return False
        if joined and self._every_s is not None:
            await self.expect_traffic(self._every_s)
        return joined

    def _hold(self, place: PortLocation) -> None:
        """Lock what `place` stands for, and only then give up what was locked."""
        if place.keys != self._lock.keys:
            before, self._lock = self._lock, PortLock(place.name, place.keys)
            before.release()

    async def aclose(self) -> None:
        """End the guard and wait for it: it may have to release the output first."""
        if not self._open:
            return
        self._open = False
        with anyio.CancelScope(shield=True), anyio.move_on_after(CLOSE_BOUND_S), suppress(OSError):
            self._socket.shutdown(socket.SHUT_WR)
            while await self._heard():
                pass
        self._close_socket()
        with suppress(subprocess.TimeoutExpired):
            self._guard.wait(timeout=1.0)  # its socket has ended: it is about to be gone
        self._lock.release()

    def _close_socket(self) -> None:
        if self._socket.fileno() >= 0:
            anyio.notify_closing(self._socket)
            self._socket.close()

    async def wait_ready(self) -> Failure | None:
        """Wait for the guard to open the port; what went wrong when it could not."""
        with anyio.move_on_after(OPEN_TIMEOUT_S):
            while data := await self._heard():
                for kind, _, body in self._frames.feed(data):
                    if kind == READY:
                        return None
                    name, number, why = body.decode(errors="replace").split("\n", 2)
                    return Failure(name, int(number) if number else None, why)
        return Failure("LinkError", None, "its guard did not start")

    async def _heard(self) -> bytes:
        await anyio.wait_readable(self._socket)
        try:
            return self._socket.recv(_CHUNK)
        except BlockingIOError:
            return b""
        except OSError:
            return b""

    def _take(self) -> None:
        """Sort what has come; never waits."""
        try:
            data = self._socket.recv(_CHUNK)
        except BlockingIOError:
            return
        except OSError:
            data = b""
        if not data:
            self._gone = self._gone or lost(self.name, "its guard has ended")
        for kind, _, body in self._frames.feed(data):
            if kind == DATA:
                self._came += body
            elif kind == TRIPPED:
                self._came, self._tripped = b"", True
                self._problem = _tripped(self.name, confirmed=body == b"1")
            elif kind == FAILED:
                self._fail(body)

    def _fail(self, body: bytes) -> None:
        name, _, why = body.decode(errors="replace").split("\n", 2)
        if name == "LinkTimeout":
            self._problem = LinkTimeout(
                f"{self.name} did not take the bytes: {why}.",
                "The instrument did not get the whole message.",
                "Check flow control and cable, and that the instrument is on.",
            )
        else:
            self._gone = lost(self.name, why)

    def _raise_problem(self) -> None:
        if self._gone is not None:
            raise self._gone
        problem, self._problem = self._problem, None
        if isinstance(problem, GuardTripped):
            self._queue(ACKNOWLEDGED, b"")
        if problem is not None:
            raise problem

    async def _send(self, kind: bytes, data: bytes = b"") -> None:
        if not self._open:
            raise lost(self.name, "it was closed here")
        self._queue(kind, data)
        self._flush()
        if self._unsent:
            with anyio.move_on_after(WRITE_TIMEOUT_S):
                while self._unsent:
                    await anyio.wait_writable(self._socket)
                    self._flush()
            if self._unsent:
                raise LinkTimeout(f"The guard of {self.name} takes no bytes.")

    def _queue(self, kind: bytes, data: bytes) -> None:
        self._unsent += pack(kind, self._sequence, data)
        self._sequence = (self._sequence + 1) & 0xFFFFFFFF

    def _flush(self) -> None:
        try:
            self._unsent = self._unsent[self._socket.send(self._unsent) :]
        except BlockingIOError:
            return
        except OSError:
            self._take()  # it may have said why
            raise self._gone or lost(self.name, "its guard has ended") from None


async def open_guarded(find: Locate, commands: CommandSet) -> tuple[GuardedLink, Failure | None]:
    """A guard where `find` says, and what went wrong when it could not open it (then it is closed).

    Raises LinkBusy naming who has the port, and what `find` raises.
    """
    place = await find()
    lock = PortLock(place.name, place.keys)
    try:
        link = GuardedLink(find, commands, place, lock)
    except BaseException:
        lock.release()
        raise
    try:
        problem = await link.wait_ready()
    except BaseException:
        await link.aclose()
        raise
    if problem is not None:
        await link.aclose()
    return link, problem


def _tripped(name: str, *, confirmed: bool) -> GuardTripped:
    state = "reads off" if confirmed else "COULD NOT BE READ BACK AS OFF"
    return GuardTripped(
        f"The guard of {name} heard nothing from the program for too long and sent OFF.",
        f"The output {state}; the activation's readings are not used.",
        "Locate out what held the program up (a busy or sleeping computer), then resume the run.",
        confirmed=confirmed,
    )
