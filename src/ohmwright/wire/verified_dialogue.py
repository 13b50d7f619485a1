"""A dialogue in which a single fault on the line falsifies no answer and no setting.

The protocol has no checksum: a flipped digit makes another well-formed reply, and another
instrument on the line answers in equal words. So every question is asked until two replies in a row
agree, every setting is read back, and the line is proven: the instrument must be the one it was at
first, and must echo digits that no stuck bit leaves alone.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Coroutine
from functools import partial
from typing import Any, TypeVar

from ohmwright.model.errors import ProtocolError, WrongInstrument

from .command_set import Ask, Tell
from .dialogue import Dialogue
from .replies import MeasuredReply
from .scpi import parse_number, short_form, unquote

T = TypeVar("T")
_ASKED_AT_MOST = 4
_SET_AT_MOST = 2
_SAME = 5e-4
"""Largest relative difference between a setting and its read-back: instruments round."""


class VerifiedDialogue:
    """Answers and settings of one instrument that a single fault on the line cannot falsify."""

    def __init__(self, dialogue: Dialogue, expected: str = "") -> None:
        self.dialogue = dialogue
        self._numbered = "number" in dialogue.commands.reading
        self._expected = expected
        self._identity: str | None = None

    async def identify(self) -> str:
        """The identification, asked over a proven line; ProtocolError where it has changed."""
        await self.dialogue.echo()
        identity = await self.text("identify")
        if self._identity is None:
            await self.dialogue.echo()  # a line that went bad in between would name it wrongly
            self._identity = self._meant(identity)
        if identity != self._identity:
            raise ProtocolError(
                f"{self.dialogue.framing.link.name} is now '{identity}', not '{self._identity}'.",
                "Another instrument answers, or the line distorts what is said.",
                "Check the cabling, then run again.",
            )
        return identity

    def _meant(self, identity: str) -> str:
        if self._expected in identity:
            return identity
        raise WrongInstrument(
            f"{self.dialogue.framing.link.name} is '{identity}'; the bench file wants "
            f"'{self._expected}' in it.",
            "Another instrument answers, or the line distorts what is said. Nothing was "
            "switched on.",
            "Connect the right one, or correct 'identity' in the bench file.",
        )

    async def text(self, verb: Ask) -> str:
        """The reply to `verb` as text."""
        return await self._agreed(lambda: self.dialogue.ask(verb), verb)

    async def number(self, verb: Ask) -> float:
        """The number that answers `verb`."""
        return await self._agreed(lambda: self.dialogue.ask_number(verb), verb)

    async def block(self, verb: Ask) -> bytes:
        """The data of the block that answers `verb`."""
        return await self._agreed(lambda: self.dialogue.ask_block(verb), verb)

    def reading(self, verb: Ask, unit: str) -> Coroutine[Any, Any, MeasuredReply]:
        """Value and number of a measured reply in `unit`; asked again where two replies differ.

        Where readings have no number two may differ rightly, so each is believed by itself.
        """
        if not self._numbered:
            return self.dialogue.ask_reading(verb, unit)
        return self._agreed(partial(self.dialogue.ask_reading, verb, unit), verb)

    async def set_number(self, verb: Tell, back: Ask, value: float, **fields: object) -> None:
        """Send the command `verb`; return when `back` reads `value`, but for rounding."""
        await self._set(verb, back, lambda text: same_number(text, value), fields)

    async def set_count(self, verb: Tell, back: Ask, count: int, **fields: object) -> None:
        """Send the command `verb`; return when `back` reads `count` exactly."""
        await self._set(verb, back, lambda text: same_count(text, count), fields)

    async def set_name(self, verb: Tell, back: Ask, name: str, **fields: object) -> None:
        """Send the command `verb`; return when `back` reads `name`, in its long or short form."""
        await self._set(verb, back, lambda text: same_name(text, name), fields)

    async def _set(
        self, verb: Tell, back: Ask, taken: Callable[[str], bool], fields: dict[str, object]
    ) -> None:
        reply = ""
        for _ in range(_SET_AT_MOST):
            await self.dialogue.tell(verb, **fields)
            if not self.dialogue.commands.can_ask(back):
                return
            reply = await self.text(back)
            if taken(reply):
                await self.identify()
                return
        said = self.dialogue.commands.message(verb, fields).decode("ascii").strip()
        raise ProtocolError(
            f"{self.dialogue.framing.link.name} was told '{said}' and reads back '{reply}'.",
            "It is not set as it should be; nothing is measured so.",
            "Check the instrument's data file against its manual, and the cabling.",
        )

    async def _agreed(self, ask: Callable[[], Awaitable[T]], verb: Ask) -> T:
        earlier = await ask()
        for _ in range(_ASKED_AT_MOST - 1):
            later = await ask()
            # repr, for a NaN equals nothing; the same bytes are parsed once, to the same object
            if later is earlier or repr(later) == repr(earlier):
                return later
            earlier = later
        raise ProtocolError(
            f"{self.dialogue.framing.link.name} gave another answer each time to '{verb}'.",
            "No value was taken from it.",
            "Where readings change faster than they are asked for, the computer is too busy or the "
            "line too slow; else check cable, shielding and baud rate.",
        )


def same_number(text: str, value: float) -> bool:
    """Whether `text` is the number `value`, within the rounding of what instruments show."""
    try:
        return abs(parse_number(text) - value) <= _SAME * abs(value)
    except ValueError:
        return False


def same_count(text: str, count: int) -> bool:
    """Whether `text` is exactly the whole number `count`."""
    try:
        return parse_number(text) == count
    except ValueError:
        return False


def same_name(text: str, name: str) -> bool:
    """Whether `text`, quoted or not, is `name` in its long or short form."""
    return unquote(text).upper() in (name.upper(), short_form(name))
