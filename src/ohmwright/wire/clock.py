"""The clock of a bench: real, virtual (a sleep advances it), or virtual and going on by itself.

Only this module and `machine_time` may use the machine's time; a lint rule bans it elsewhere.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Generator
from datetime import UTC, datetime, timedelta
from types import coroutine

import anyio

from .machine_time import asleep_s, elapsed_s


class Clock(ABC):
    """The time of one bench."""

    @abstractmethod
    def now_s(self) -> float:
        """Seconds since an arbitrary start; never goes back.

        Time during which the machine slept counts wherever the system can tell.
        """

    @abstractmethod
    def wall(self) -> datetime:
        """The date and time of day, in UTC."""

    @abstractmethod
    async def sleep(self, duration_s: float) -> None:
        """Return when `duration_s` seconds of this clock have passed."""

    def asleep_s(self) -> float:
        """Seconds that the machine slept, plus a constant; 0 where time is virtual."""
        return 0.0

    def go_on_after(self, at: datetime) -> None:  # noqa: B027 - most clocks tell a true time
        """Have an invented time of day be no earlier than `at`; a true one stays as it is."""


class RealClock(Clock):
    """The machine's own time."""

    def now_s(self) -> float:
        """Seconds since about the machine's start."""
        return elapsed_s()

    def asleep_s(self) -> float:
        """Seconds that the machine slept, plus a constant."""
        return asleep_s()

    def wall(self) -> datetime:
        """The date and time of day, in UTC."""
        return datetime.now(UTC)

    async def sleep(self, duration_s: float) -> None:
        """Return when `duration_s` seconds have passed."""
        await anyio.sleep(duration_s)


class VirtualClock(Clock):
    """A simulated bench's own time, which a sleep advances at once.

    It needs a bench that one task uses: nobody else is waited for. Every `yield_every` sleeps the
    event loop gets a turn, so that a cancellation or another task is heard; 1 makes every sleep a
    cancellation point.
    """

    def __init__(
        self, start: datetime = datetime(2026, 1, 5, 8, tzinfo=UTC), *, yield_every: int = 16
    ) -> None:
        self._start, self._now_s = start, 0.0
        self._yield_every, self._until_yield = yield_every, yield_every

    def now_s(self) -> float:
        """Virtual seconds since the start."""
        return self._now_s

    def wall(self) -> datetime:
        """The start date plus the virtual seconds, in UTC."""
        return self._start + timedelta(seconds=self._now_s)

    def go_on_after(self, at: datetime) -> None:
        """Have the time of day be no earlier than `at`; the seconds since the start stay."""
        self._start += max(at - self.wall(), timedelta(0))

    def advance(self, duration_s: float) -> None:
        """Advance by `duration_s` without a sleep, as when a line stays silent."""
        if duration_s > 0:
            self._now_s += duration_s

    async def sleep(self, duration_s: float) -> None:
        """Advance by `duration_s` at once."""
        if duration_s > 0.0:
            self._now_s += duration_s
        self._until_yield -= 1
        if self._until_yield <= 0:
            self._until_yield = self._yield_every
            await _let_others_run()


class RunningClock(VirtualClock):
    """A simulated bench's own time that passes by itself, `rate` times as fast as real time.

    For a simulated bench in this process that a person works: it begins at the same date as any
    virtual clock, and nobody has to sleep on it to make it go on.
    """

    def __init__(self, rate: float = 1.0) -> None:
        super().__init__()
        self._rate, self._since_s = rate, elapsed_s()

    @property
    def rate(self) -> float:
        """Seconds of this clock to a real one, above 0; a sleep that has begun keeps its own."""
        return self._rate

    @rate.setter
    def rate(self, rate: float) -> None:
        self._now_s, self._since_s, self._rate = self.now_s(), elapsed_s(), rate

    def now_s(self) -> float:
        """Seconds since the start."""
        return self._now_s + self._rate * (elapsed_s() - self._since_s)

    def asleep_s(self) -> float:
        """Seconds that the machine slept, plus a constant."""
        return asleep_s()

    def wall(self) -> datetime:
        """The start date plus the seconds since, in UTC."""
        return self._start + timedelta(seconds=self.now_s())

    async def sleep(self, duration_s: float) -> None:
        """Return when `duration_s` seconds of this clock have passed."""
        await anyio.sleep(duration_s / self._rate)


@coroutine
def _let_others_run() -> Generator[None, None, None]:
    """Yield to the event loop once, which is a cancellation point."""
    yield
