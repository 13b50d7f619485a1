"""OFF and its read-back by a back end's release orders, without a call of the back end."""

from __future__ import annotations

import re
from collections.abc import Iterable

from ohmwright.model.errors import LinkTimeout, ProtocolError
from ohmwright.wire.clock import Clock
from ohmwright.wire.frame_layout import FrameLayout
from ohmwright.wire.guard.orders import ReleaseOrders
from ohmwright.wire.link import Link
from ohmwright.wire.off import NOTHING_TELLS, OffAnswer

from .line import InstrumentLine


def plain_orders(
    off: bytes,
    question: bytes,
    off_replies: Iterable[bytes],
    *,
    ends: bytes = b"\n",
    off_answer: bytes | None = None,
    unfinished: bytes = b"",
) -> ReleaseOrders:
    """Release orders of an instrument whose replies end in `ends`.

    `off_replies`: the replies to `question`, without that end, that mean off; every other reply
    counts as on. `off_answer`: the reply to `off`, without that end, that says it was done.
    `unfinished`: what is sent right before OFF, for a message may have been broken off.
    """
    return ReleaseOrders(
        off,
        question,
        reply=FrameLayout(ends=ends),
        form=".*",
        reads_off="|".join(re.escape(reply).decode("latin-1") for reply in off_replies),
        off_answer="" if off_answer is None else re.escape(off_answer).decode("latin-1"),
        unfinished=unfinished,
    )


class ReleaseLine:
    """Sends OFF and reads the state, in the bytes of the guard's own orders."""

    def __init__(
        self, link: Link, line: InstrumentLine, orders: ReleaseOrders, clock: Clock
    ) -> None:
        self._link, self._line, self._orders, self._clock = link, line, orders, clock
        self._answer_due, self._off_seen = False, True
        self.off_answer = NOTHING_TELLS
        """What came after the last OFF, once the state was asked for."""

    async def switch_off(self) -> None:
        """Send OFF at once, whatever is on the line; where it did not help, opened anew."""
        self._line.suspect()
        self._answer_due, self.off_answer = True, NOTHING_TELLS
        opening = () if self._off_seen else self._orders.opening
        self._off_seen = False
        for message in (self._orders.unfinished, *opening, self._orders.off):
            await self._write(message)

    async def reads_on(self) -> bool:
        """Whether one of two replies is anything but off.

        Raises LinkTimeout where none comes, ProtocolError where one says no state.
        """
        on = await self._reads_on_once() or await self._reads_on_once()
        self._off_seen = not on
        return on

    async def _reads_on_once(self) -> bool:
        came = await self._line.settle()
        if self._answer_due:
            self._answer_due, self.off_answer = False, self._answer_in(came)
        self._line.suspect()
        await self._write(self._orders.question)
        reply, more = await self._reply()
        try:
            off = self._orders.says_off(self._orders.reply.open(reply))
        except ValueError:
            off = None
        if off is None or more:
            raise ProtocolError(
                f"{self._link.name} said {(reply + more)[:80]!r}, asked for the output's state.",
                "Whether RF is off is not known from it.",
                "Check the release orders of the back end, and the cabling.",
            )
        self._line.in_step()
        return not off

    def _answer_in(self, came: bytes) -> OffAnswer:
        """What `came` after OFF, all of it, says of it."""
        said = f"{came[:80]!r}" if came else ""
        if not self._orders.off_answer:
            return OffAnswer(None, said)
        try:
            frame, more = self._orders.reply.split(came) or (b"", came)
            taken = not more and self._orders.says_taken(self._orders.reply.open(frame))
        except ValueError:
            taken = False
        return OffAnswer(taken, "" if taken else said or "nothing")

    async def _write(self, message: bytes) -> None:
        """Send `message`, where it has bytes, after the pause that the instrument needs."""
        if message:
            await self._clock.sleep(self._orders.pause_s)
            await self._link.write(message)

    async def _reply(self) -> tuple[bytes, bytes]:
        """The frame that answers, and what came after it."""
        orders, heard = self._orders, b""
        end_s = self._clock.now_s() + orders.timeout_s
        while (found := orders.reply.split(heard.removeprefix(orders.echo))) is None:
            try:
                heard += await self._link.read(max(0.0, end_s - self._clock.now_s()))
            except LinkTimeout:
                raise LinkTimeout(
                    f"{self._link.name} did not tell the output's state within "
                    f"{orders.timeout_s:g} s: {heard[:80]!r} came.",
                    "Whether RF is off is not known from it.",
                    "Check power and cable, and the release orders of the back end.",
                    received=heard,
                ) from None
        return found
