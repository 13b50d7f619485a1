"""OFF and its read-back by a back end's release orders, without a call of the back end."""

from __future__ import annotations

from ohmwright.model.errors import LinkTimeout
from ohmwright.wire.clock import Clock
from ohmwright.wire.guard.release_orders import ReleaseOrders
from ohmwright.wire.link import Link

from .line import Line


class ReleaseLine:
    """Sends OFF and reads the state, in the bytes of the guard's own orders."""

    def __init__(
        self, link: Link, line: Line, orders: ReleaseOrders, clock: Clock, within_s: float
    ) -> None:
        self._link, self._line, self._orders = link, line, orders
        self._clock, self._within_s = clock, within_s

    async def switch_off(self) -> None:
        """Send OFF at once, whatever is on the line."""
        self._line.suspect()
        await self._link.write(self._orders.break_off + self._orders.off)

    async def reads_on(self) -> bool:
        """Whether one of two replies is anything but off. Raises LinkTimeout where none comes."""
        await self._line.settle()
        return await self._reads_on_once() or await self._reads_on_once()

    async def _reads_on_once(self) -> bool:
        off_replies = self._orders.off_replies
        self._line.suspect()
        await self._link.write(self._orders.ask_state)
        heard, end_s = b"", self._clock.now_s() + self._within_s
        while heard not in off_replies:
            if not any(reply.startswith(heard) for reply in off_replies):
                return True
            heard += await self._more(heard, end_s - self._clock.now_s())
        self._line.in_step()
        return False

    async def _more(self, heard: bytes, within_s: float) -> bytes:
        try:
            return await self._link.read(max(0.0, within_s))
        except LinkTimeout:
            raise LinkTimeout(
                f"{self._link.name} did not tell the output's state within {self._within_s:g} s: "
                f"{heard[:80]!r} came.",
                "Whether RF is off is not known from it.",
                "Check power and cable, and the release orders of the back end.",
                received=heard,
            ) from None
