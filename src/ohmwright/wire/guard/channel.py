"""The engine's end of the socket to one guard process: frames out, frames in, and its end."""

from __future__ import annotations

import socket
import subprocess
from contextlib import suppress
from functools import partial
from math import inf
from typing import NamedTuple

import anyio

from ohmwright.model.errors import GuardTripped, LinkError, LinkTimeout
from ohmwright.wire.links.arrivals import Arrivals
from ohmwright.wire.links.failures import lost

from .frames import ACKNOWLEDGED, DATA, FAILED, PING, READY, TRIPPED, Unpacker, pack
from .launcher import GuardHandle

READY_WITHIN_S = 15.0
"""Longest time in seconds that a guard may take to open its port."""
SEND_WITHIN_S = 1.0
"""Longest time in seconds that a guard may take to accept a frame."""
_KILLED_AFTER_S = 0.5
"""What a guard without port or engine may take to end before it is killed."""
_CLOSED_WITHIN_S = 1.0
_ANSWERS_WITHIN_S = 0.5
"""What a guard that is not stopped takes to answer for itself, on a busy computer too."""
_CHUNK_BYTES = 65536


class OpenFailure(NamedTuple):
    """Why the guard could not open the port."""

    kind: str
    """Name of the error class."""
    number: int | None
    """The system's error number, where there is one."""
    why: str


class GuardChannel:
    """A conversation with one guard, from its launch to its end.

    A frame goes out whole, or is finished by the next one. `error` is raised once, by whoever next
    uses the line; `ended` for good.
    """

    def __init__(self, name: str, guard: GuardHandle) -> None:
        self.name = name
        self._socket, self._process = guard.engine, guard.process
        self._arrivals = Arrivals(self._socket.fileno(), partial(self._socket.recv, _CHUNK_BYTES))
        self._sequence, self._unsent = 0, b""
        self._frames = Unpacker()
        self.received = b""
        """Bytes of the instrument that nobody has taken yet."""
        self.error: LinkError | None = None
        """What went wrong at the port, not raised yet: a trip, or bytes that were not taken."""
        self.ended: LinkError | None = None
        """Why guard or port are gone; None while they are there."""
        self._answered = False
        self.tripped = False
        """Whether the guard has tripped since this was last set to False."""

    @property
    def pid(self) -> int:
        """Process number of the guard."""
        return self._process.pid

    @property
    def has_news(self) -> bool:
        """Whether bytes of the instrument, an error or the end have come and nobody knows yet."""
        return bool(self.received) or self.error is not None or self.ended is not None

    def take_received(self) -> bytes:
        """The instrument's bytes received so far, each handed out once."""
        data, self.received = self.received, b""
        return data

    async def wait_frames(self, timeout_s: float = inf) -> None:
        """Wait at most `timeout_s` until the guard has sent something, and process it."""
        try:
            self._feed(await self._arrivals.next(timeout_s))
        except OSError:
            self._guard_ended()

    def process_frames(self) -> None:
        """Process the frames that have come; never waits."""
        try:
            self._feed(self._arrivals.here())
        except OSError:
            self._guard_ended()

    def _guard_ended(self) -> None:
        self.ended = self.ended or lost(self.name, "its guard has ended")

    def _feed(self, data: bytes) -> None:
        for kind, _, body in self._frames.feed(data):
            if kind == DATA:
                self.received += body
            elif kind == PING:
                self._answered = True
            elif kind == TRIPPED:
                self.received, self.tripped = b"", True
                self.error = _tripped_error(self.name, confirmed=body == b"1")
            elif kind == FAILED:
                self._port_failed(body)

    def _port_failed(self, body: bytes) -> None:
        failure = _parsed_failure(body)
        if failure.kind == "LinkTimeout":
            self.error = LinkTimeout(
                f"{self.name} did not take the bytes: {failure.why}.",
                "The instrument did not get the whole message.",
                "Check flow control and cable, and that the instrument is on.",
            )
        else:
            self.ended = lost(self.name, failure.why)

    def raise_error(self) -> None:
        """Raise what went wrong, if anything did; a trip is then acknowledged to the guard."""
        if self.ended is not None:
            raise self.ended
        error, self.error = self.error, None
        if isinstance(error, GuardTripped):
            self._queue(ACKNOWLEDGED, b"")
        if error is not None:
            raise error

    async def send(self, kind: bytes, data: bytes = b"") -> None:
        """Send one frame. Raises LinkTimeout where it is not taken in a second, LinkLost."""
        self._queue(kind, data)
        self._flush()
        if self._unsent:
            with anyio.move_on_after(SEND_WITHIN_S):
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
            self.process_frames()  # it may have said why
            raise self.ended or lost(self.name, "its guard has ended") from None

    async def answers(self) -> bool:
        """Whether the guard itself answers within a moment."""
        self._answered = False
        with anyio.move_on_after(_ANSWERS_WITHIN_S), suppress(LinkTimeout):
            await self.send(PING)
            while not self._answered and self.ended is None:
                await self.wait_frames()
        return self._answered or self.ended is not None

    async def wait_ready(self) -> OpenFailure | None:
        """Wait for the guard to open the port; what went wrong where it could not."""
        with anyio.move_on_after(READY_WITHIN_S):
            while data := await self._next_bytes():
                for kind, _, body in self._frames.feed(data):
                    return None if kind == READY else _parsed_failure(body)
        return OpenFailure("LinkError", None, "its guard did not start")

    async def _next_bytes(self) -> bytes:
        """The next bytes on the socket; empty at its end."""
        try:
            return await self._arrivals.next()
        except OSError:
            return b""

    async def hang_up(self) -> None:
        """Tell the guard that no more comes, and wait until it has ended its side."""
        with suppress(OSError):
            self._socket.shutdown(socket.SHUT_WR)
            while await self._next_bytes():
                pass

    def close(self) -> None:
        """Close the socket of a guard that was hung up on; it is about to end."""
        self._close_socket()
        with suppress(subprocess.TimeoutExpired):
            self._process.wait(timeout=_CLOSED_WITHIN_S)

    def abandon(self) -> None:
        """End a guard that lost its port or hangs, by force where it does not end by itself."""
        self.ended = self.ended or lost(self.name, "it was given up")
        self._close_socket()
        try:
            self._process.wait(timeout=_KILLED_AFTER_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()

    def _close_socket(self) -> None:
        if self._socket.fileno() >= 0:
            self._arrivals.close()
            self._socket.close()


def _parsed_failure(body: bytes) -> OpenFailure:
    kind, number, why = body.decode(errors="replace").split("\n", 2)
    return OpenFailure(kind, int(number) if number else None, why)


def _tripped_error(name: str, *, confirmed: bool) -> GuardTripped:
    state = "reads off" if confirmed else "COULD NOT BE READ BACK AS OFF"
    return GuardTripped(
        f"The guard of {name} heard nothing from the program for too long and sent OFF.",
        f"The output {state}; the activation's readings are not used.",
        "Find out what held the program up (a busy or sleeping computer), then resume the run.",
        confirmed=confirmed,
    )
