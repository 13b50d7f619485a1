"""The clock of a simulated bench in another process, which its client advances."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import anyio
import anyio.lowlevel

from ohmwright.model.errors import LinkTimeout, ProtocolError
from ohmwright.wire.clock import Clock
from ohmwright.wire.link import Link

_BOUND_S = 10.0
"""Real seconds that a step may take."""
_START = datetime(2026, 1, 5, 8, tzinfo=UTC)


class SteppedClock(Clock):
    """A clock whose sleeps advance the served bench by a step over its control port.

    It serves one task, and holds the time of the bench's clock to the last digit.
    """

    def __init__(self, control: Link, now_s: float) -> None:
        self._control, self._now_s, self._start = control, now_s, _START

    @classmethod
    async def connect(cls, control: Link) -> SteppedClock:
        """The clock, at the present time of the bench behind `control`.

        Raises LinkTimeout, LinkLost, or ProtocolError where no stepped bench answers.
        """
        reply = await _exchange(control, b"SIMulator:TIME:STEP 0;:SIMulator:TIME?\n")
        try:
            acknowledged, now_s = reply.split(b";")
            if acknowledged == b"1":
                return cls(control, float(now_s))
        except ValueError:
            pass
        raise _no_stepped_bench(control, reply)

    def now_s(self) -> float:
        """The bench's virtual seconds."""
        return self._now_s

    def wall(self) -> datetime:
        """The start date plus the virtual seconds."""
        return self._start + timedelta(seconds=self._now_s)

    def go_on_after(self, at: datetime) -> None:
        """Have the time of day be no earlier than `at`, as where the bench is served anew."""
        self._start += max(at - self.wall(), timedelta(0))

    async def sleep(self, duration_s: float) -> None:
        """Advance the bench's time; a step once sent is completed, so that none counts twice."""
        if duration_s <= 0:
            await anyio.lowlevel.checkpoint()
            return
        with anyio.CancelScope(shield=True):
            reply = await _exchange(self._control, b"SIMulator:TIME:STEP %r\n" % float(duration_s))
        if reply != b"1":
            raise _no_stepped_bench(self._control, reply)
        self._now_s += duration_s
        await anyio.lowlevel.checkpoint()


async def _exchange(control: Link, message: bytes) -> bytes:
    await control.write(message)
    reply = b""
    try:
        while not reply.endswith(b"\n"):
            reply += await control.read(_BOUND_S)
    except LinkTimeout:
        raise LinkTimeout(
            f"{control.name} did not answer {message!r}.",
            "The time of the simulated bench stands still.",
            "Check that it is served with stepped time and still runs.",
            received=reply,
        ) from None
    return reply[:-1]


def _no_stepped_bench(control: Link, reply: bytes) -> ProtocolError:
    return ProtocolError(
        f"{control.name} replied {reply[:80]!r} to a step in time.",
        "It is not the control port of a simulated bench with stepped time.",
        "Check 'stepped_time' in the bench file.",
    )
