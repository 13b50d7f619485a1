"""What the invented instruments stand for: a generator that a contact keys into a load resistance.

The truth (when RF was on, the true current) is kept here, apart from what any port says of it.
"""

from __future__ import annotations

import math
import random
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field

LAG_S = 0.15
COUNT_SHARE = 0.004
"""By how much, of itself, a count of the trim moves the output."""


@dataclass
class Plant:
    """A generator of constant power with a current limit, and the contact that keys it."""

    load_ohm: float = 300.0
    setting_w: float = 0.0
    most_ma: float = 900.0
    error: float = -0.05
    """What the output is off, of itself, while its trim is 0."""
    trim: int = 0
    noise: float = 0.001
    lag_s: float = LAG_S
    """Time constant of the output's rise."""
    on_s: float | None = None
    """Since when RF is on; None while it is off."""
    limit_s: float = math.inf
    log: list[tuple[float, float]] = field(default_factory=list)
    """When RF was on: from, to."""
    now_s: Callable[[], float] = time.monotonic
    """The time that passes for these instruments, in s."""
    lock: threading.RLock = field(default_factory=threading.RLock)
    draws: random.Random = field(default_factory=lambda: random.Random(7))

    def key(self, limit_s: float) -> None:
        """Close the contact for at most `limit_s`."""
        with self.lock:
            self.on_s, self.limit_s = self.now_s(), limit_s

    def release(self) -> None:
        """Open the contact."""
        with self.lock:
            if self.on_s is not None:
                end_s = min(self.now_s(), self.on_s + self.limit_s)
                self.log.append((self.on_s, end_s))
            self.on_s = None

    @property
    def is_on(self) -> bool:
        """Whether RF is on; a limit that has run out has ended it."""
        with self.lock:
            if self.on_s is not None and self.now_s() >= self.on_s + self.limit_s:
                self.release()
            return self.on_s is not None

    @property
    def left_s(self) -> float:
        """What is left of the limit, in s; 0 while RF is off."""
        with self.lock:
            if not self.is_on or self.on_s is None:
                return 0.0
            return self.on_s + self.limit_s - self.now_s()

    @property
    def settled_ma(self) -> float:
        """The current in mA when the output has settled."""
        by_power = 1000 * math.sqrt(self.setting_w / self.load_ohm)
        return min(self.most_ma, by_power) * (1 + self.error + COUNT_SHARE * self.trim)

    def shown_ma(self) -> float:
        """What a meter reads now, in mA."""
        with self.lock:
            if not self.is_on or self.on_s is None:
                return 0.0
            risen = 1 - math.exp(-(self.now_s() - self.on_s) / self.lag_s)
            return self.settled_ma * risen * (1 + self.draws.gauss(0, self.noise))


class Meter:
    """Takes a reading each `interval_s`, and keeps the latest with its number."""

    def __init__(self, plant: Plant, interval_s: float) -> None:
        self._plant, self._interval_s = plant, interval_s
        self._began_s = plant.now_s()
        self._number, self._shown_ma = 0, 0.0

    def latest(self) -> tuple[int, float]:
        """Number and value (mA) of the latest reading; call it at least once an interval."""
        number = int((self._plant.now_s() - self._began_s) / self._interval_s)
        if number > self._number:
            self._number, self._shown_ma = number, self._plant.shown_ma()
        return self._number, self._shown_ma
