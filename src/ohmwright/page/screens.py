"""The screens that show the page: each tab of a browser is one, with a key of its own."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from secrets import token_urlsafe

import anyio

from ohmwright.wire.clock import Clock

MOST_SCREENS = 12
GONE_AFTER_S = 10.0
"""A screen that was not heard of for so long is gone: a reload takes less."""
_RELOAD_S = 1.0
"""How long a screen that comes back may still seem to be connected."""


@dataclass(eq=False)
class Screen:
    """One tab that shows the page."""

    number: int
    key: str
    left_s: float
    """When it was last connected, or came."""
    connected: bool = False
    wake: anyio.Event = field(default_factory=anyio.Event)
    closed: anyio.Event = field(default_factory=anyio.Event)

    def alarm(self) -> None:
        """Have its stream look for news."""
        self.wake.set()


class Screens:
    """Every screen that is or was connected a moment ago."""

    def __init__(self, clock: Clock) -> None:
        self._clock, self._by_key, self._count = clock, dict[str, Screen](), 0

    def __iter__(self) -> Iterator[Screen]:
        return iter(self._by_key.values())

    def of_key(self, key: str) -> Screen | None:
        """Return the screen with this key; None where there is none."""
        return self._by_key.get(key)

    def is_gone(self, number: int) -> bool:
        """Whether no screen of this number is connected, or was a moment ago."""
        return all(screen.number != number for screen in self._by_key.values())

    async def arriving(self, key: str) -> Screen | None:
        """Return the screen of `key`, a new one where that is in use; None where it is full.

        A tab that was duplicated has the key of another, and must not act in its name.
        """
        self.drop_gone()
        known = self._by_key.get(key)
        if known is not None and known.connected:
            with anyio.move_on_after(_RELOAD_S):
                await known.closed.wait()
        if known is not None and not known.connected:
            return known
        if len(self._by_key) >= MOST_SCREENS:
            return None
        self._count += 1
        screen = Screen(self._count, token_urlsafe(16), self._clock.now_s())
        self._by_key[screen.key] = screen
        return screen

    @contextmanager
    def shown(self, screen: Screen) -> Iterator[None]:
        """Count `screen` as connected until the block ends."""
        screen.connected, screen.closed = True, anyio.Event()
        try:
            yield
        finally:
            screen.connected, screen.left_s = False, self._clock.now_s()
            screen.closed.set()

    def drop_gone(self) -> None:
        """Forget every screen that was not heard of for `GONE_AFTER_S`."""
        last_s = self._clock.now_s() - GONE_AFTER_S
        for screen in list(self._by_key.values()):
            if not screen.connected and screen.left_s < last_s:
                del self._by_key[screen.key]
