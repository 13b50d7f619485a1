"""What a message says: literal bytes with fields, filled in or read back out."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from numbers import Real

from ohmwright.model.errors import SourceError

from .field_codec import Codes, FieldCodec, FieldValue, field_codec
from .message_parts import FieldPart, message_parts

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
        said = zip(self._readers, found.groups(), strict=True)
        return {quantity: decode(each) for (quantity, decode), each in said}

    def fits(self, body: bytes) -> bool:
        """Whether `body` has the form of this text."""
        return self._pattern.fullmatch(body) is not None

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
    def _readers(self) -> list[tuple[str, Callable[[bytes], FieldValue]]]:
        return [(codec.meaning.quantity, codec.decode) for codec in self._codecs()]

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
