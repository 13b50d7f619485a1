"""Which screen commands a bench; the others watch, and may stop it."""

from __future__ import annotations

from typing import Literal

from ohmwright.model.errors import UsageError
from ohmwright.wire.clock import Clock

from .screens import Screens

TAKE_OVER_AFTER_S = 20.0
"""Whoever has asked for the command and got no answer for so long may take it."""
CommandWish = Literal["take", "ask", "hand over", "keep", "leave"]


class NotInCommand(UsageError):  # noqa: N818 - a plain word without Error
    """Another screen commands this bench."""


class Lease:
    """The command of one bench: nobody's, or one screen's."""

    def __init__(self, screens: Screens, clock: Clock) -> None:
        self._screens, self._clock = screens, clock
        self._holder: int | None = None
        self._asker: int | None = None
        self._asked_s = 0.0

    @property
    def holder(self) -> int | None:
        """The number of the screen that commands; None where nobody does."""
        if self._holder is not None and self._screens.is_gone(self._holder):
            self._holder = None
        return self._holder

    @property
    def asker(self) -> int | None:
        """The number of the screen that has asked for the command; None where none has."""
        if self._asker is not None and self._screens.is_gone(self._asker):
            self._asker = None
        return self._asker

    @property
    def take_over_in_s(self) -> float:
        """Seconds until the one that asked may take the command without an answer."""
        return max(0.0, self._asked_s + TAKE_OVER_AFTER_S - self._clock.now_s())

    def require(self, screen: int) -> None:
        """Give the command to `screen` where nobody has it. Raises NotInCommand."""
        if self.holder is None:
            self._give(screen)
        if self._holder != screen:
            raise NotInCommand(
                f"Screen {self._holder} commands this bench.",
                "This screen watches; it can stop the run.",
                "Ask for the command.",
            )

    def do(self, what: CommandWish, screen: int) -> None:
        """Do what `screen` asks for. Raises NotInCommand, UsageError."""
        match what:
            case "take":
                self._take(screen)
            case "ask":
                if self.holder is None:
                    self._give(screen)
                elif self._holder != screen and self.asker in (None, screen):
                    self._asked_s = self._clock.now_s() if self._asker is None else self._asked_s
                    self._asker = screen
            case "hand over":
                self.require(screen)
                self._give(self.asker)
            case "keep":
                self.require(screen)
                self._asker = None
            case "leave":
                self.require(screen)
                self._give(self.asker)

    def _take(self, screen: int) -> None:
        if self.holder not in (None, screen):
            if self.asker != screen:
                raise UsageError("Ask for the command first.")
            if self.take_over_in_s > 0:
                raise UsageError(f"It may be taken in {self.take_over_in_s:.0f} s.")
        self._give(screen)

    def _give(self, screen: int | None) -> None:
        self._holder, self._asker = screen, None
