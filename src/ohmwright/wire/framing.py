"""Whole replies out of a stream of bytes: frames, definite-length blocks, silence."""

from __future__ import annotations

from collections import deque
from collections.abc import Coroutine
from contextlib import suppress
from typing import Any

from ohmwright.model.errors import LinkTimeout, ProtocolError

from .clock import Clock
from .frame_layout import FrameLayout
from .hints import hint
from .link import Link
from .scpi import block_length

QUIET_S = 0.15
"""After this silence in seconds no late reply is on the line."""
_PAUSES_AT_MOST = 4
_MOST_CHUNKS = 4096
_LONGEST_REPLY = 1 << 22
_REMEMBERED = 50
_SHOWN = 200


class Framing:
    """The bytes of one line, kept until a reply is whole.

    `pause_s`: the silence in seconds that is kept before each message.
    """

    def __init__(
        self, link: Link, reply: FrameLayout, timeout_s: float, clock: Clock, pause_s: float = 0.0
    ) -> None:
        self.link = link
        self.trace: deque[tuple[float, str, bytes]] = deque(maxlen=_REMEMBERED)
        """The last messages: when, `>` or `<`, and the bytes (of a long one the first)."""
        self.left = b""
        """What came after the last reply taken."""
        self._reply, self._timeout_s, self._clock = reply, timeout_s, clock
        self._pause_s, self._busy_s = pause_s, clock.now_s() - pause_s

    def send(self, message: bytes) -> Coroutine[Any, Any, None]:
        """Write `message`, after the pause that the instrument needs."""
        if self._pause_s:
            return self._send_after_pause(message)
        self.trace.append((self._clock.now_s(), ">", message))
        return self.link.write(message)

    async def _send_after_pause(self, message: bytes) -> None:
        for _ in range(_PAUSES_AT_MOST):  # a late reply makes the pause begin anew
            wait_s = self._busy_s + self._pause_s - self._clock.now_s()
            if wait_s <= 0:
                break
            await self._clock.sleep(wait_s)
            self.unasked()
        self.trace.append((self._clock.now_s(), ">", message))
        try:
            await self.link.write(message)
        finally:
            self._busy_s = self._clock.now_s()

    async def reply(
        self,
        timeout_s: float | None = None,
        layout: FrameLayout | None = None,
        *,
        alone: bool = False,
    ) -> bytes:
        """The body of the next frame, by `layout` where it is not that of a reply.

        Raises LinkTimeout with the bytes that did come, ValueError for a frame that is not right,
        does not end, or is to come `alone` and does not: replies are one behind then.
        """
        layout = layout or self._reply
        timeout_s = self._timeout_s if timeout_s is None else timeout_s
        began_s, waited_s = self._clock.now_s(), 0.0
        try:
            while not self.left or (found := layout.split(self.left)) is None:
                self._add(await self._more(timeout_s - waited_s))
                waited_s = self._busy_s - began_s
        except LinkTimeout:
            raise self._silence(timeout_s) from None
        frame, self.left = found
        body = layout.open(frame)
        if alone and self.left:
            await self._hear_out_unasked(layout)
        return body

    async def _hear_out_unasked(self, layout: FrameLayout) -> None:
        """Take the rest of a frame that is passed over. Raises ValueError for anything else."""
        with suppress(LinkTimeout):
            while layout.unasked and self.left and layout.split(self.left) is None:
                self._add(await self._more(QUIET_S))
                self.left = layout.without_unasked(self.left)
        if self.left:
            raise self._more_than_one()

    async def block(self, *, alone: bool = False) -> bytes:
        """The next definite-length block, without the line end that follows it.

        It may take long, as long as bytes keep coming. Raises LinkTimeout, and ValueError where no
        block begins, it ends wrongly, or it is to come `alone` and does not.
        """
        end = len(self._reply.ends)
        try:
            while (length := block_length(self.left)) is None or len(self.left) < length + end:
                self._add(await self._more(self._timeout_s))
        except LinkTimeout:
            raise self._silence(self._timeout_s) from None
        block, rest = self.left[:length], self.left[length:]
        if not rest.startswith(self._reply.ends):
            raise ValueError(f"the block is followed by {rest[:12]!r}")
        self.left = rest[end:]
        if alone and self.left:
            raise self._more_than_one()
        return block

    def unasked(self) -> bytes:
        """What waits on the line before anything was asked, and is not passed over; it stays."""
        waiting = self.link.waiting()
        if waiting:
            self._add(waiting)
            self.left = self._reply.without_unasked(self.left)
        return self.left

    async def drain(self) -> bool:
        """Throw away what comes until the line is quiet for a while; whether it became so.

        It is given up after the time-out of a reply: OFF may be waiting for it.
        """
        # the guard, or a program before this one, may have spoken on the line until now
        self._busy_s = self._clock.now_s()
        deadline_s = self._busy_s + self._timeout_s
        self.left = b""
        for _ in range(_MOST_CHUNKS):
            if self._clock.now_s() >= deadline_s:
                break
            try:
                self._add(await self._more(QUIET_S))
            except LinkTimeout:
                return True
            self.left = b""
        return False

    async def see_quiet(self) -> None:
        """Listen for a while. Raises ValueError for bytes that come though nothing was asked."""
        if not self.left:
            try:
                self._add(await self._more(QUIET_S))
            except LinkTimeout:
                return
        raise ValueError(f"{self.left[:80]!r} came though nothing was asked")

    async def skip_cut_frame(self) -> None:
        """Throw away the frame that is under way, of which the beginning may be lost."""
        self.left = b""
        with suppress(ValueError):  # what is left of a cut frame is none
            await self.reply()

    def nonsense(self, received: bytes, why: str) -> ProtocolError:
        """The error for a reply that makes no sense, for the reason `why`."""
        return ProtocolError(
            f"{self.link.name} replied {received[:80]!r} to {self.last_sent()!r}: {why}.",
            "No value was taken from it.",
            hint(self.last_heard() or received, self._reply),
        )

    def _more_than_one(self) -> ValueError:
        """The error to be raised where more has come than what was just taken."""
        line_end = not self.left.strip(b"\r\n")
        hint = "; if each reply ends so, it belongs to the end of replies in the command set"
        return ValueError(f"{self.left[:80]!r} followed it{hint if line_end else ''}")

    def _more(self, timeout_s: float) -> Coroutine[Any, Any, bytes]:
        """What comes next, within `timeout_s`. Raises ValueError where no more should come."""
        if len(self.left) > _LONGEST_REPLY:
            raise ValueError("it does not end")
        if timeout_s <= 0.0:
            raise self._silence(timeout_s)
        return self.link.read(timeout_s)

    def _add(self, data: bytes) -> None:
        """Keep what came; the trace shows it as one message with what came just before."""
        self.left += data
        trace, self._busy_s = self.trace, self._clock.now_s()
        if trace and trace[-1][1] == "<":
            data = (trace.pop()[2] + data)[:_SHOWN]
        trace.append((self._busy_s, "<", data))

    def _silence(self, timeout_s: float) -> LinkTimeout:
        came = f"only {self.left[:80]!r} came" if self.left else "nothing came"
        return LinkTimeout(
            f"{self.link.name} did not answer {self.last_sent()!r} within {timeout_s:g} s: {came}.",
            "No value was taken from it.",
            hint(self.left, self._reply),
            received=self.left,
        )

    async def wait(self, seconds: float) -> None:
        """Say nothing for so long, while the instrument is at something."""
        await self._clock.sleep(seconds)

    def now_s(self) -> float:
        """The time of the bench's clock, in seconds."""
        return self._clock.now_s()

    def last_heard(self) -> bytes:
        """What came since the last message, as far as it is remembered."""
        return self.trace[-1][2] if self.trace and self.trace[-1][1] == "<" else b""

    def last_sent(self) -> bytes:
        """The last message; empty where none was sent."""
        return self._last()[1]

    def last_sent_s(self) -> float:
        """When the last message was sent, by the bench's clock; now where none was."""
        return self._last()[0]

    def _last(self) -> tuple[float, bytes]:
        sent = ((at_s, data) for at_s, way, data in reversed(self.trace) if way == ">")
        return next(sent, (self.now_s(), b""))
