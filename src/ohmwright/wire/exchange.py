"""A message of a command set: literal bytes with fields, and an exchange of it for a reply.

A `MessageText` is filled in to be sent, or read back out of what came. An `Exchange` is a message
made ready: what is sent, and what each reply to it means.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from math import inf, nan
from numbers import Real
from typing import Any

from ohmwright.model.errors import SourceError

from .field_codec import Codes, FieldCodec, FieldValue, field_codec
from .message_parts import FieldPart, message_parts, shown_bytes
from .verbs import Verb

_DECIMAL_COMMA = re.compile(rb"\d,\d")
_COMMA = "; a number with a decimal comma is written {current_a:,} or {current_a:8,}"
ReplyValues = Mapping[str, FieldValue]
"""The values in a reply, by their names in our own units."""
MeasuredReply = tuple[float, int | None]
"""Value and number of a measured reply."""
_NAME = re.compile(r"[\w .+/%()-]+", re.ASCII)
_SAMPLES: Mapping[str, FieldValue] = {"whole": 12.0, "number": 1.0, "switch": 0.0, "word": "Aa,Bb"}


@dataclass(frozen=True)
class MessageText:
    """A text of a command set: what is sent, or the pattern of a reply."""

    text: str
    """As the file has it."""
    parts: tuple[bytes | FieldCodec | FieldPart, ...]
    """Literal bytes, fields, and (without a name) what is skipped."""

    @property
    def fields(self) -> frozenset[str]:
        """What its fields stand for, in our own units."""
        return frozenset(codec.meaning.quantity for codec in self._codecs())

    def codec(self, quantity: str) -> FieldCodec | None:
        """The field that stands for `quantity`, if there is one."""
        return next((c for c in self._codecs() if c.meaning.quantity == quantity), None)

    def filled(self, values: Mapping[str, object]) -> bytes:
        """The bytes with `values`, by their names in our own units. Raises SourceError."""
        return b"".join(
            part.sent(_checked(part, values))
            if isinstance(part, FieldCodec)
            else (part if isinstance(part, bytes) else b"")
            for part in self.parts
        )

    def read(self, body: bytes) -> dict[str, FieldValue] | None:
        """The values in `body`; None where it does not fit. Raises ValueError for a fault's."""
        found = self._pattern.fullmatch(body)
        if found is None:
            return None
        said: dict[str, FieldValue] = {}
        for group, quantity, decode in self._readers:
            said[quantity] = decode(found[group])
        return said

    def fits(self, body: bytes) -> bool:
        """Whether `body` has the form of this text."""
        return self._pattern.fullmatch(body) is not None

    def missing_code(self, body: bytes) -> str:
        """What no code table has, where `body` would fit but for that; else an empty text."""
        coded = [codec for codec in self._codecs() if codec.codes is not None]
        anything = b"".join(b"(.+?)" if part in coded else _regex(part) for part in self.parts)
        found = re.fullmatch(anything, body, re.DOTALL)
        said = () if found is None else zip(coded, found.groups(), strict=True)
        return next(
            (
                f", and '{shown_bytes(each)}' is not in [codes.{codec.name}]"
                for codec, each in said
                if re.fullmatch(codec.pattern, each, re.DOTALL) is None
            ),
            "",
        )

    def pattern_where(self, quantity: str, only: bytes) -> bytes:
        """A regular expression for bodies whose `quantity` stands there as the pattern `only`."""
        return b"".join(
            only if isinstance(p, FieldCodec) and p.meaning.quantity == quantity else _regex(p)
            for p in self.parts
        )

    @property
    def pattern(self) -> bytes:
        """A regular expression for all bodies that fit."""
        return b"".join(map(_regex, self.parts))

    def sample(self) -> bytes:
        """A body that fits, for telling whether another text would take it, too."""
        return b"".join(map(_sample, self.parts))

    @cached_property
    def _readers(self) -> list[tuple[int, str, Callable[[bytes], FieldValue]]]:
        """The group of `_pattern` that each field is, what it stands for, and how it is read."""
        codecs = enumerate(self._codecs(), start=1)
        return [(group, codec.meaning.quantity, codec.decode) for group, codec in codecs]

    @cached_property
    def _pattern(self) -> re.Pattern[bytes]:
        grouped = (
            b"(%s)" % _regex(part) if isinstance(part, FieldCodec) else _regex(part)
            for part in self.parts
        )
        return re.compile(b"".join(grouped), re.DOTALL)

    def _codecs(self) -> Iterator[FieldCodec]:
        return (part for part in self.parts if isinstance(part, FieldCodec))


def message_text(
    text: str, codes: Mapping[str, Codes], *, named_bytes: bool, reply: bool = False
) -> MessageText:
    """The message text `text`. Raises ValueError saying what is wrong with it.

    `reply`: whether it is the pattern of a reply, in which bytes may be skipped by `{}`.
    """
    parts = list[bytes | FieldCodec | FieldPart]()
    for part in message_parts(text, named_bytes=named_bytes):
        if isinstance(part, bytes):
            parts.append(part)
        elif part.name or not reply:
            parts.append(field_codec(part, codes))
        elif re.fullmatch(r"\d{0,3}", part.form):
            parts.append(part)
        else:
            raise ValueError(f"'{{:{part.form}}}' skips no number of bytes, as in '{{:4}}'")
    made = MessageText(text, tuple(parts))
    if len(made.fields) < len(list(made._codecs())):
        raise ValueError(f"'{text}' has the same field twice")
    return made


class Refused(Exception):  # noqa: N818 - a plain word
    """The reply is a refusal: `code` and `text` are what the instrument said with it."""

    def __init__(self, code: int, text: str) -> None:
        super().__init__(code, text)
        self.code, self.text = code, text


class NotSaidError(ValueError):
    """A reply without a reading does not say what else it was asked for."""


@dataclass(frozen=True, eq=False, slots=True)
class Exchange:
    """A message and the replies that may come to it."""

    verb: Verb | str
    send: MessageText | None
    """None where nothing is sent: the stream says it by itself."""
    replies: tuple[MessageText, ...]
    """The forms of its reply; empty where none comes."""
    timeout_s: float
    asked: str = ""
    """The field for which it is asked; empty where none is."""
    no_reading: tuple[MessageText, ...] = ()
    over_range: tuple[MessageText, ...] = ()
    refusals: tuple[MessageText, ...] = ()
    busy: tuple[MessageText, ...] = ()
    """What puts it off, undone, until it is sent again."""
    busy_s: float = 0.0
    """How long nothing else is asked or told after it, in s."""
    answers: tuple[tuple[MessageText, float | None], ...] = field(init=False)
    """The forms of all replies but refusals as they are tried, and what stands for a value that
    one does not give."""

    def __post_init__(self) -> None:
        forms = ((self.no_reading, nan), (self.over_range, inf), (self.replies, None))
        answers = tuple((text, value) for texts, value in forms for text in texts)
        object.__setattr__(self, "answers", answers)

    @property
    def is_numbered(self) -> bool:
        """Whether its replies carry a number of their own."""
        return all("number" in text.fields for text in self.replies)

    def body(self, values: Mapping[str, object]) -> bytes:
        """What is sent, with `values`. Raises SourceError for what cannot be sent."""
        assert self.send is not None  # whoever sends has looked
        return self.send.filled(values)

    def read(self, body: bytes) -> ReplyValues:
        """The values in the reply `body`; the same object for the same body as last time.

        The value asked for is NaN where the instrument has none, infinite beyond its range. Raises
        ValueError for a body of another form, Refused for a refusal.
        """
        return _read(self, body)

    def measured(self, said: Mapping[str, Any]) -> MeasuredReply:
        """Value and number of the reading that a reply says; None where it gives no number."""
        number = said.get("number")
        return said[self.asked], None if number is None else round(number)

    def puts_off(self, body: bytes) -> bool:
        """Whether `body` says that the instrument is busy, and the message to come again."""
        return any(text.fits(body) for text in self.busy)

    def fits(self, body: bytes) -> bool:
        """Whether `body` has the form of a reply to this message, refusals apart."""
        return any(text.fits(body) for text, _ in self.answers)

    def limit_s(self, limit_s: float) -> float | None:
        """The limit in s that this message carries for `limit_s`; None where it carries none."""
        codec = None if self.send is None else self.send.codec("limit_s")
        return None if codec is None else codec.carried_limit(limit_s)


@lru_cache(maxsize=8)  # a question is asked twice: mostly the same reply comes twice
def _read(exchange: Exchange, body: bytes) -> ReplyValues:
    if exchange.puts_off(body):
        raise ValueError("it says that it is busy, and nothing else in the time for a reply")
    for text in exchange.refusals:
        if (said := text.read(body)) is not None:
            code = said.get("code", 0)
            assert not isinstance(code, str)
            raise Refused(round(code), str(said.get("text", shown_bytes(body))))
    for text, value in exchange.answers:
        if (said := text.read(body)) is not None:
            return said if value is None else _without_reading(exchange.asked, said, value)
    forms = " or ".join(repr(text.text) for text in exchange.replies)
    may_be_comma = "{" in forms and "{:," not in forms  # a text without a field has no number
    comma = _COMMA if may_be_comma and _DECIMAL_COMMA.search(body) else ""
    code = next(filter(None, (text.missing_code(body) for text in exchange.replies)), "")
    raise ValueError(f"it should be {forms}{code or comma}")


def _without_reading(asked: str, said: ReplyValues, value: float) -> ReplyValues:
    """What a reply without a reading says: `value` for a reading, the rest as it stands there."""
    if asked in said:
        return said
    if asked not in ("current_ma", "power_w", "ratio"):
        raise NotSaidError(f"it does not say '{asked}'")
    return {**said, asked: value}


def _checked(codec: FieldCodec, values: Mapping[str, object]) -> FieldValue:
    """The value for a field; raises SourceError for what could end its message or is no number."""
    value = values[codec.meaning.quantity]
    if isinstance(value, str):
        if _NAME.fullmatch(value) is not None:
            return value
    elif isinstance(value, Real) and abs(float(value)) < float("inf"):
        return float(value)
    raise SourceError(
        f"{value!r} cannot be sent as {codec.name}.",
        "Numbers must be finite; names are of ASCII letters, digits, spaces and _ . + - / % ( ).",
        "Correct the name or number in the data file.",
    )


def _regex(part: bytes | FieldCodec | FieldPart) -> bytes:
    if isinstance(part, bytes):
        return re.escape(part)
    if isinstance(part, FieldCodec):
        return part.pattern
    return b".{%d}" % int(part.form) if part.form else b".*?"


def _sample(part: bytes | FieldCodec | FieldPart) -> bytes:
    if isinstance(part, bytes):
        return part
    if not isinstance(part, FieldCodec):
        return b"x" * int(part.form or 1)
    if part.codes is not None:
        return next(code for codes in part.codes.values() for code in codes)
    return part.encode(_SAMPLES[part.meaning.kind])
