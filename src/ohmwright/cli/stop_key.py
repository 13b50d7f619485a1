"""Keys that stop a run: space, q and Ctrl-D, read one by one while no request is open."""

from __future__ import annotations

import asyncio
import atexit
import os
import sys
from collections.abc import Callable
from math import inf
from typing import Any

from ohmwright.wire.clock import RealClock

from .signals import stop_now

_SPACE, _Q, _CTRL_D, _DIGITS = b" ", b"qQ", b"\x04", b"0123456789"
_WITHIN_A_FIGURE_S = 2.0
"""A space so soon after a digit may stand before the unit of a figure, as in 412 mA."""
_TIME = RealClock()

OnKeys = Callable[[bytes], None]
"""Takes what was typed, as a terminal sends it; must return at once."""


def ignore_keys(_: bytes) -> None:
    """Take no notice of what was typed."""


def _never() -> bool:
    return False


class StopKey:
    """Makes space, q or Ctrl-D at the terminal act like Ctrl-C, between `watch` and `ignore`.

    Does nothing without a terminal, in a background process, or on Windows. `ignore` restores the
    settings of the terminal; at the latest they are restored when the program ends.
    """

    def __init__(
        self,
        others: OnKeys = ignore_keys,
        typing: Callable[[], bool] = _never,
        figures: Callable[[], bool] = _never,
    ) -> None:
        """`others`: called with what is typed and stops nothing; `typing`: whether an answer is
        being typed, to which a space or a q belongs; `figures`: whether figures are asked for, one
        of which may be typed too early: a space soon after a digit then stops nothing."""
        self._others, self._typing, self._figures = others, typing, figures
        self.typed_early = False
        """Whether the beginning of a figure was typed since `watch`."""
        self._digit_s = -inf
        """When a digit was typed, where that is what was typed last."""
        self._before: list[Any] | None = None

    @property
    def watched(self) -> bool:
        """Whether keys are being read."""
        return self._before is not None

    def watch(self) -> None:
        """Read keys as they are pressed, without echo."""
        if sys.platform == "win32" or not own_terminal():
            return
        import termios

        descriptor, self.typed_early = sys.stdin.fileno(), False
        self._before = termios.tcgetattr(descriptor)
        raw = termios.tcgetattr(descriptor)
        raw[0] &= ~termios.IXON  # Ctrl-S would freeze the screen, and not the run
        raw[3] &= ~(termios.ICANON | termios.ECHO)
        raw[6][termios.VMIN], raw[6][termios.VTIME] = 1, 0
        atexit.register(self.ignore)
        termios.tcsetattr(descriptor, termios.TCSANOW, raw)
        asyncio.get_running_loop().add_reader(descriptor, self._pressed)

    def ignore(self) -> None:
        """Stop reading keys, discard what was typed, restore the terminal."""
        before, self._before = self._before, None
        if sys.platform == "win32" or before is None:
            return
        import termios

        descriptor = sys.stdin.fileno()
        atexit.unregister(self.ignore)
        self._remove_reader(descriptor)
        if own_terminal():
            termios.tcflush(descriptor, termios.TCIFLUSH)
            termios.tcsetattr(descriptor, termios.TCSANOW, before)

    def _pressed(self) -> None:
        descriptor = sys.stdin.fileno()
        try:
            keys = os.read(descriptor, 64)
        except OSError:
            keys = b""
        if keys == b"":  # the terminal is gone
            self._remove_reader(descriptor)
        elif not self._typing() and (name := self._stop_among(keys)):
            stop_now(f"{name} was pressed")
        else:
            self._others(keys)

    def _stop_among(self, keys: bytes) -> str:
        """Return the name of the first key that stops the run; empty where none does."""
        for key in keys:
            now_s, digit_s, self._digit_s = _TIME.now_s(), self._digit_s, -inf
            if key in _Q:
                return "q"
            if key in _CTRL_D:
                return "Ctrl-D"
            if key in _SPACE and not (self._figures() and now_s < digit_s + _WITHIN_A_FIGURE_S):
                return "space"
            if key in _DIGITS and self._figures():
                self.typed_early, self._digit_s = True, now_s
        return ""

    def _remove_reader(self, descriptor: int) -> None:
        try:
            asyncio.get_running_loop().remove_reader(descriptor)
        except RuntimeError:  # at the very end of the program no loop runs any more
            return


def own_terminal() -> bool:
    """Whether standard input is a terminal that this program may change."""
    try:
        descriptor = sys.stdin.fileno()
        return os.isatty(descriptor) and os.tcgetpgrp(descriptor) == os.getpgrp()
    except (AttributeError, OSError, ValueError):
        return False
