"""A dialogue in which a single fault on the line falsifies no answer and no setting.

Most protocols have no checksum: a flipped digit makes another well-formed reply, and another
instrument on the line answers in equal words. So a question is asked until two replies in a row
agree, a setting is read back where its command set can ask for it, and the line is proven as far as
that set can (`line_proof`): the instrument must be the one it was at first, for instance, and must
echo digits that no stuck bit leaves alone.

A meter may be quicker than it is asked: on a busy computer, over a slow line. No two of its
numbered readings are the same then, and one that goes on as the two before it is believed: a
changed digit makes a leap.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Coroutine
from typing import Any, TypeVar

from ohmwright.model.errors import LinkTimeout, ProtocolError, SettingNotTaken, WrongInstrument

from .command_set import Ask, Tell
from .dialogue import Dialogue
from .exchange import MeasuredReply, ReplyValues
from .field_codec import FieldValue
from .message_parts import shown_bytes
from .scpi import short_form, unquote

T = TypeVar("T")
_ANSWERS, _READINGS = range(2, 5), range(2, 13)
"""Numbers of the replies that may agree with the one before, and of those that may be a reading."""
_STEADY, _QUICKER = 0.01, 2.0
"""Largest change from one reading to the next: relative to it, or over the change before."""
SET_AT_MOST = 2
"""How often a setting is sent until it reads back."""
_SAME = 5e-4
"""Largest relative difference between a setting and its read-back: instruments round."""


class VerifiedDialogue:
    """Answers and settings of one instrument that a single fault on the line cannot falsify."""

    def __init__(self, dialogue: Dialogue, expected: str = "") -> None:
        self.dialogue = dialogue
        self._expected = expected
        self._identity: str | None = None

    async def identify(self) -> str:
        """The identification, asked over a proven line; ProtocolError where it has changed."""
        await self.dialogue.prove()
        identity = await self.text("identify")
        if self._identity is None:
            await self.dialogue.prove()  # a line that went bad in between would name it wrongly
            self._identity = self._as_expected(identity)
        if identity != self._identity:
            raise ProtocolError(
                f"{self.dialogue.framing.link.name} is now '{identity}', not '{self._identity}'.",
                "Another instrument answers, or the line distorts what is said.",
                "Check the cabling, then run again.",
            )
        return identity

    def _as_expected(self, identity: str) -> str:
        """Return `identity`; raises WrongInstrument where the bench file wants another."""
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

    async def values(self, verb: Ask) -> ReplyValues:
        """All that the reply to `verb` says, by the names of quantities in our own units."""
        return await self._agreed(lambda: self.dialogue.ask_values(verb), verb)

    async def reading(self, verb: Ask) -> MeasuredReply:
        """Value and number of a measured reply; asked again where two replies differ.

        Where readings have no number, or come by themselves, two may differ rightly, so each is
        believed by itself.
        """
        question = self.dialogue.question(verb)
        measured = question.exchange.measured
        if not question.is_numbered:
            return measured(await question.ask())
        said = await agreed_reading(question.ask, measured)
        if said is None:
            raise self._another_each_time(verb)
        return measured(said)

    def is_said_twice(self, verb: Ask) -> bool:
        """Whether a reading of `verb` is believed only when it was said more than once."""
        return self.dialogue.question(verb).is_numbered

    async def set_number(self, verb: Tell, back: Ask, value: float, **fields: object) -> None:
        """Send the command `verb`, and again until `back` reads `value`, but for rounding.

        Where the command set cannot ask `back` it is sent once, and nothing has shown its effect.
        """
        await self._set(verb, back, lambda read: same_number(read, value), fields)

    async def set_count(self, verb: Tell, back: Ask, count: int, **fields: object) -> None:
        """As `set_number`, until `back` reads `count` exactly."""
        await self._set(verb, back, lambda read: read == count, fields)

    async def set_name(self, verb: Tell, back: Ask, name: str, **fields: object) -> None:
        """As `set_number`, until `back` reads `name`, in its long or short form."""
        await self._set(verb, back, lambda read: same_name(str(read), name), fields)

    async def other_number(self, back: Ask, value: float) -> str | None:
        """What `back` reads where it is not `value`, but for rounding; None where it is, or cannot
        be asked."""
        read = await self._read_back(back)
        return None if read is None or same_number(read, value) else _shown(read)

    async def other_name(self, back: Ask, name: str) -> str | None:
        """As `other_number`, where `back` does not read `name`."""
        read = await self._read_back(back)
        return None if read is None or same_name(str(read), name) else unquote(_shown(read))

    async def _read_back(self, back: Ask) -> FieldValue | None:
        if not self.dialogue.commands.can_ask(back):
            return None
        return await self._agreed(lambda: self._value(back), back)

    async def _set(
        self, verb: Tell, back: Ask, taken: Callable[[FieldValue], bool], fields: dict[str, object]
    ) -> None:
        reply: FieldValue = ""
        can_read_back = self.dialogue.commands.can_ask(back)
        for tries_left in reversed(range(SET_AT_MOST)):
            try:
                await self.dialogue.tell(verb, **fields)
            except (LinkTimeout, ProtocolError):
                # its acknowledgement was lost or damaged; what it did can be read back
                if not (can_read_back and tries_left):
                    raise
            if not can_read_back:
                return
            reply = await self._agreed(lambda: self._value(back), back)
            if taken(reply):
                await self.identify()
                return
        said = shown_bytes(self.dialogue.commands.exchange(verb).body(fields))
        name, shown = self.dialogue.framing.link.name, _shown(reply)
        raise SettingNotTaken(
            f"{name} was told '{said}' and reads back '{shown}'.",
            "It is not set as it should be; nothing is measured so.",
            "Check the instrument's data file against its manual, and the cabling.",
        )

    async def _value(self, verb: Ask) -> FieldValue:
        question = self.dialogue.question(verb)
        return (await question.ask())[question.exchange.asked]

    async def _agreed(self, ask: Callable[[], Awaitable[T]], verb: Ask) -> T:
        said = await agreed(ask)
        if said is None:
            raise self._another_each_time(verb)
        return said

    def _another_each_time(self, verb: Ask) -> ProtocolError:
        return ProtocolError(
            f"{self.dialogue.framing.link.name} gave another answer each time to '{verb}'.",
            "No value was taken from it.",
            "Where readings change faster than they are asked for, the computer is too busy or the "
            "line too slow; else check cable, shielding and baud rate.",
        )


def _shown(value: FieldValue) -> str:
    return value if isinstance(value, str) else f"{value:g}"


def same_number(read: FieldValue, value: float) -> bool:
    """Whether `read` is the number `value`, within the rounding of what instruments show."""
    return not isinstance(read, str) and abs(read - value) <= _SAME * abs(value)


def same_name(text: str, name: str) -> bool:
    """Whether `text`, quoted or not, is `name` in its long or short form."""
    return unquote(text).upper() in (name.upper(), short_form(name))


def agreed(ask: Callable[[], Awaitable[T]]) -> Coroutine[Any, Any, T | None]:
    """What two answers in a row say; None where none of the first four do."""
    return _believed(ask, None, None)


def agreed_reading(
    ask: Callable[[], Awaitable[T]],
    reading_of: Callable[[T], MeasuredReply],
    earlier: T | None = None,
) -> Coroutine[Any, Any, T | None]:
    """What two answers in a row say, else a reading that goes on as the two answers before it.

    Such a reading is believed from the fifth answer on; None where none of twelve will do.
    `reading_of`: the reading in an answer; `earlier`: an answer that came already, the first.
    """
    return _believed(ask, earlier, reading_of)


async def _believed(
    ask: Callable[[], Awaitable[T]],
    earlier: T | None,
    reading_of: Callable[[T], MeasuredReply] | None,
) -> T | None:
    """The second of two answers in a row that are alike, or later a reading that goes on."""
    older = before = await ask() if earlier is None else earlier
    for number in _ANSWERS if reading_of is None else _READINGS:
        last = await ask()
        # by repr, since NaN equals nothing, itself included; equal bytes may be parsed only once,
        # to one object, which is quicker to tell
        if last is before or repr(last) == repr(before):
            return last
        if (
            reading_of is not None
            and number not in _ANSWERS
            and _goes_on(*map(reading_of, (older, before, last)))
        ):
            return last
        older, before = before, last
    return None


def _goes_on(first: MeasuredReply, second: MeasuredReply, third: MeasuredReply) -> bool:
    """Whether the third of three readings is new, and changes by about as much as the second did.

    So a digit of it that was changed on the line is small against what the output itself does.
    """
    (a, _), (b, before), (c, after) = first, second, third
    is_new = before is not None and after is not None and after > before
    return is_new and abs(c - b) <= max(_STEADY * abs(c), _QUICKER * abs(b - a))
