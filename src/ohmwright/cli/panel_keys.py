"""The keyboard as a unit's keys and as answers: what a terminal sends, told apart."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import anyio

from ohmwright.instruments.requests import Answer, Request, ValueRequest
from ohmwright.simulator.generator import Direction, Key


class PanelKey(NamedTuple):
    """A key of the unit."""

    key: Key
    direction: Direction


_PANEL_KEYS = {
    "\x1b[C": PanelKey("coarse", "up"),
    "\x1b[D": PanelKey("coarse", "down"),
    "\x1b[A": PanelKey("fine", "up"),
    "\x1b[B": PanelKey("fine", "down"),
    ">": PanelKey("coarse", "up"),
    "<": PanelKey("coarse", "down"),
    "+": PanelKey("fine", "up"),
    "-": PanelKey("fine", "down"),
}
KEYS_SHOWN = "keys: → coarse up  ← coarse down  ↑ fine up  ↓ fine down  (or > < + -)"
_ARROW_BEGINS = ("\x1b[", "\x1bO")
_ENTER, _BACKSPACE = "\r\n", "\x7f\b"


def typed_keys(typed: bytes) -> Iterator[PanelKey | str]:
    """Yield each key of the unit among what was typed, and each other character."""
    text = typed.decode("ascii", errors="ignore")
    while text:
        if text.startswith(_ARROW_BEGINS):
            arrow, text = "\x1b[" + text[2:3], text[3:]
            if arrow in _PANEL_KEYS:
                yield _PANEL_KEYS[arrow]
            continue
        character, text = text[0], text[1:]
        yield _PANEL_KEYS.get(character, character)


class KeyedAnswer:
    """The answer to one request, as it is keyed.

    One key is enough where it can be nothing else; Enter alone is the answer of a request that has
    only one. Other numbers and words end with Enter.
    """

    def __init__(self, request: Request) -> None:
        self._answers: tuple[Answer, ...] = request.answers
        self._by_value = isinstance(request, ValueRequest)
        self._given = anyio.Event()
        self.typed = ""
        """What was typed so far."""

    @property
    def is_given(self) -> bool:
        """Whether the answer is there."""
        return self._given.is_set()

    async def given(self) -> str:
        """Return the answer as soon as it is there."""
        await self._given.wait()
        return self.typed

    def take(self, character: str) -> None:
        """Take the next character; none counts after the answer."""
        if self.is_given:
            return
        if character in _ENTER:
            if self.typed == "" and len(self._answers) == 1:
                self.typed = self._answers[0].word
            self._given.set()
        elif character in _BACKSPACE:
            self.typed = self.typed[:-1]
        elif character.isprintable():
            self.typed += character
            if not self._by_value and self._is_answer(self.typed):
                self._given.set()

    def _is_answer(self, typed: str) -> bool:
        """Return whether `typed` is an answer, and not the beginning of another one."""
        meant = [one for one in self._answers if typed in (one.key, one.word)]
        longer = [one for one in self._answers if one.word.startswith(typed) and one not in meant]
        return meant != [] and longer == []
