"""One message of a command set, made ready: what is sent, and what each reply means."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import inf, nan

from .field_codec import FieldValue
from .message_text import MessageText
from .verbs import Verb

_DECIMAL_COMMA = re.compile(rb"\d,\d")
_COMMA = "; a number with a decimal comma is written {current_a:,} or {current_a:8,}"
ReplyValues = Mapping[str, FieldValue]
"""The values in a reply, by their names in our own units."""


class Refused(Exception):  # noqa: N818 - a plain word
    """The reply is a refusal: `code` and `text` are what the instrument said with it."""

    def __init__(self, code: int, text: str) -> None:
        super().__init__(code, text)
        self.code, self.text = code, text


@dataclass(frozen=True, eq=False)
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

    @cached_property
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

    def fits(self, body: bytes) -> bool:
        """Whether `body` has the form of a reply to this message, refusals apart."""
        return any(text.fits(body) for text in (*self.replies, *self.no_reading, *self.over_range))

    def limit_s(self, limit_s: float) -> float | None:
        """The limit in s that this message carries for `limit_s`; None where it carries none."""
        codec = None if self.send is None else self.send.codec("limit_s")
        return None if codec is None else codec.carried_limit(limit_s)


@lru_cache(maxsize=8)  # a question is asked twice: mostly the same reply comes twice
def _read(exchange: Exchange, body: bytes) -> ReplyValues:
    for text in exchange.refusals:
        if (said := text.read(body)) is not None:
            code = said.get("code", 0)
            assert not isinstance(code, str)
            raise Refused(round(code), str(said.get("text", body.decode("latin-1"))))
    for texts, value in ((exchange.no_reading, nan), (exchange.over_range, inf)):
        for text in texts:
            if (said := text.read(body)) is not None:
                return _without_reading(exchange.asked, said, value)
    for text in exchange.replies:
        if (said := text.read(body)) is not None:
            return said
    forms = " or ".join(repr(text.text) for text in exchange.replies)
    comma = _COMMA if _DECIMAL_COMMA.search(body) and "{:," not in forms else ""
    raise ValueError(f"it should be {forms}{comma}")


def _without_reading(asked: str, said: ReplyValues, value: float) -> ReplyValues:
    """What a reply without a reading says: `value` for a reading, the rest as it stands there."""
    if asked in said:
        return said
    if asked not in ("current_ma", "ratio"):
        raise ValueError(f"it does not say '{asked}'")
    return {**said, asked: value}
