"""Simulated time that a person can follow: it waits for the machine's own."""

from __future__ import annotations

from .clock import RealClock, VirtualClock

_MAKES_UP_S = 0.05
"""Computing may put simulated time behind by so much before the delay is kept for good."""


class PacedClock(VirtualClock):
    """Virtual time that passes at most `speed` times as fast as the machine's own.

    It stands still while nobody sleeps on it, as while a person is waited for. `speed` may be
    changed at any time, and holds from the next sleep on.
    """

    def __init__(self, speed: float = 1.0) -> None:
        super().__init__(yield_every=1)
        self.speed, self._real = speed, RealClock()
        self._due_s = self._real.now_s()

    async def sleep(self, duration_s: float) -> None:
        """Return when `duration_s` seconds have passed on this clock, as slowly as its pace."""
        now_s = self._real.now_s()
        self._due_s = max(self._due_s, now_s - _MAKES_UP_S) + max(0.0, duration_s) / self.speed
        if self._due_s > now_s:
            await self._real.sleep(self._due_s - now_s)
        await super().sleep(duration_s)
