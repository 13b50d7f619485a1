"""How often something may be asked for: a bucket that fills by itself and is emptied by asking."""

from __future__ import annotations

from ohmwright.wire.clock import Clock


class Bucket:
    """Lets `most` requests through at once, and `per_s` a second in the long run."""

    def __init__(self, clock: Clock, *, most: float, per_s: float) -> None:
        self._clock, self._most, self._per_s = clock, most, per_s
        self._left, self._seen_s = most, clock.now_s()

    def take(self) -> bool:
        """Whether one more may pass now."""
        now_s = self._clock.now_s()
        self._left = min(self._most, self._left + (now_s - self._seen_s) * self._per_s)
        self._seen_s = now_s
        if self._left < 1:
            return False
        self._left -= 1
        return True
