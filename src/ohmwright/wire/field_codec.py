"""How the value of one field stands on the line: as text, as binary number, or as a code."""

from __future__ import annotations

import re
import struct
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from math import floor, isfinite

from ohmwright.model.errors import SourceError

from .field_names import FieldKind, FieldMeaning, meaning_of
from .message_parts import FieldPart, shown_text
from .scpi import number_in, parse_integer, parse_number

FieldValue = float | str
Codes = Mapping[str, tuple[bytes, ...]]
"""What stands on the line for each value of a field, by the text of the value."""
_NUMBER = rb"\s*[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?\s*"
_WHOLE = rb"\s*[+-]?\d+\s*"
_FORM = re.compile(r"(?:(\+?0?)(\d{1,2})?(\.\d{1,2})?([dfegxX])?)(?:\*([\d.eE-]+))?")
_BINARY = re.compile(r"([uif])(8|16|32)(le)?(?:\*([\d.eE-]+))?")
_BCD = re.compile(r"bcd(\d)(?:\*([\d.eE-]+))?")
_STRUCT = {"u8": "B", "i8": "b", "u16": "H", "i16": "h", "u32": "I", "i32": "i", "f32": "f"}
_LOSS = 5e-4
"""Largest relative difference between a value and what its form can carry of it."""
_EXACT = 1e-9
SWITCH = {"off": 0.0, "on": 1.0}
FAULT = "fault"
"""The value of a switch that reports a fault: it is neither off nor on."""


@dataclass(frozen=True)
class FieldCodec:
    """Reads and writes the value of one field, in our own unit."""

    name: str
    meaning: FieldMeaning
    pattern: bytes
    """A regular expression for what stands on the line; it has no groups."""
    decode: Callable[[bytes], FieldValue]
    """The value of such bytes. Raises ValueError."""
    encode: Callable[[FieldValue], bytes]
    """The bytes of a value, perhaps rounded. Raises ValueError."""
    codes: Codes | None = None
    is_binary: bool = False
    """Whether any byte may stand for a value, also one that ends a frame."""

    def sent(self, value: FieldValue) -> bytes:
        """The bytes of `value`. Raises SourceError where they would carry another value.

        A time limit is rounded down, never up.
        """
        if self.meaning.quantity == "limit_s":
            return self.encode(self.carried_limit(value))
        try:
            said = self.encode(value)
            lost = self._lost(value, self.decode(said))
        except (ValueError, OverflowError, struct.error, KeyError):
            lost = True
        if lost:
            raise SourceError(
                f"{value!r} cannot be sent as {{{self.name}}}.",
                "The format or the codes of the field have no place for it; nothing was sent.",
                "Correct the value, or the field's format or codes in the command set.",
            )
        return said

    def carried_limit(self, limit_s: FieldValue) -> float:
        """The longest limit in s, no longer than `limit_s`, that the field can carry."""
        value, less = float(limit_s), 0.0
        carried = float(self.decode(self.encode(value)))
        while carried > value * (1 + _EXACT):  # formats round to the nearest
            less = 2 * less or carried - value
            carried = float(self.decode(self.encode(max(0.0, value - less))))
        return carried

    def _lost(self, value: FieldValue, carried: FieldValue) -> bool:
        if isinstance(value, str) or isinstance(carried, str):
            return value != carried
        return abs(carried - value) > _LOSS * abs(value)


def field_codec(part: FieldPart, codes: Mapping[str, Codes]) -> FieldCodec:
    """The codec of a field in a message. Raises ValueError where its format makes no sense."""
    name, form = part
    meaning = meaning_of(name)
    if "," in form and meaning.kind != "word":
        pointed = re.sub(r",(?=\d)", ".", form, count=1).replace(",", "", 1)
        return _with_comma(field_codec(FieldPart(name, pointed), codes))
    if form == "code":
        if name not in codes:
            raise ValueError(f"'{{{name}:code}}' needs a table [codes.{name}]")
        return _coded(name, meaning, codes[name])
    if meaning.kind == "word":
        return _word(name, meaning, form)
    for known, build in ((_BINARY, _binary), (_BCD, _bcd), (_FORM, _text)):
        found = known.fullmatch(form)
        if found is not None:
            return build(name, meaning, found)
    raise ValueError(f"'{{{name}}}' may have a format like '.3f', 'd' or 'u16' and nothing else")


def _with_comma(codec: FieldCodec) -> FieldCodec:
    """The same number in digits, with a decimal comma in place of the point."""
    if codec.is_binary or codec.codes is not None:
        raise ValueError(f"'{{{codec.name}}}' has a decimal comma, and is not written in digits")
    return replace(
        codec,
        pattern=codec.pattern.replace(rb"\.", b",").replace(b".", b","),
        decode=lambda said: codec.decode(said.replace(b",", b".")),
        encode=lambda value: codec.encode(value).replace(b".", b","),
    )


def _word(name: str, meaning: FieldMeaning, form: str) -> FieldCodec:
    if not re.fullmatch(r"\d{0,2}", form):
        raise ValueError(f"'{{{name}}}' may have a width like '12' and nothing else")
    pattern = b".{%d}" % int(form) if form else b".*?"
    return FieldCodec(
        name,
        meaning,
        pattern,
        lambda said: shown_text(said.decode("latin-1").strip()),
        lambda value: f"{value:{form}}".encode("ascii") if form else str(value).encode("ascii"),
    )


def _text(name: str, meaning: FieldMeaning, found: re.Match[str]) -> FieldCodec:
    zero, width, digits, kind, step = found.groups()
    scale = _step(step) * meaning.factor
    form = f"{zero}{width or ''}{digits or ''}{kind or ''}"
    is_hex = kind in ("x", "X")
    whole = is_hex or kind == "d" or (kind is None and meaning.kind == "whole")
    if whole and digits:
        raise ValueError(f"'{{{name}:{form}}}' has a format that its value cannot take")
    pattern = rb"[0-9A-Fa-f]+" if is_hex else _WHOLE if whole else _NUMBER
    if width:
        pattern = (rb"[0-9A-Fa-f]{%d}" if is_hex else rb"[-+ 0-9.eE]{%d}") % int(width)

    def encode(value: FieldValue) -> bytes:
        raw = float(value) / scale
        if not isfinite(raw):
            raise ValueError("it is not finite")
        return format(_nearest(name, raw) if whole else raw, form).encode("ascii")

    encode(1.0)
    decode = _number_reader(scale, is_hex=is_hex, whole=whole, wide=bool(width))
    return FieldCodec(name, meaning, pattern, decode, encode)


def _number_reader(
    scale: float, *, is_hex: bool, whole: bool, wide: bool
) -> Callable[[bytes], float]:
    """What reads a number in digits whose form was seen to be right, and gives `scale` times it.

    `wide`: it has a width, which lets more characters through.
    """
    if is_hex:
        return lambda said: int(said, 16) * scale
    if wide:
        read = parse_integer if whole else parse_number
        return lambda said: read(said.decode("ascii")) * scale
    if whole:
        return lambda said: int(said) * scale
    return lambda said: number_in(float(said)) * scale


def _binary(name: str, meaning: FieldMeaning, found: re.Match[str]) -> FieldCodec:
    sign, bits, little, step = found.groups()
    if (sign == "f") != (bits == "32" and sign == "f"):
        raise ValueError(f"'{{{name}}}' has a format that there is not: f32 is the only binary f")
    scale = _step(step) * meaning.factor
    packed = struct.Struct(("<" if little else ">") + _STRUCT[sign + bits])
    return FieldCodec(
        name,
        meaning,
        b".{%d}" % packed.size,
        lambda said: packed.unpack(said)[0] * scale,
        lambda value: packed.pack(
            float(value) / scale if sign == "f" else _nearest(name, float(value) / scale)
        ),
        is_binary=True,
    )


def _bcd(name: str, meaning: FieldMeaning, found: re.Match[str]) -> FieldCodec:
    """Binary-coded decimal: two digits a byte, the highest first."""
    size, scale = int(found[1]), _step(found[2]) * meaning.factor
    return FieldCodec(
        name,
        meaning,
        b".{%d}" % size,
        lambda said: parse_integer(said.hex()) * scale,
        lambda value: bytes.fromhex(f"{_nearest(name, float(value) / scale):0{2 * size}d}"),
        is_binary=True,
    )


def _coded(name: str, meaning: FieldMeaning, codes: Codes) -> FieldCodec:
    values = {code: code_value(meaning.kind, text) for text, all_ in codes.items() for code in all_}
    longest_first = sorted(values, key=len, reverse=True)

    def decode(said: bytes) -> FieldValue:
        value = values[said]
        if value == FAULT and meaning.kind == "switch":
            raise ValueError(f"{said!r} reports a fault")
        return value * meaning.factor if isinstance(value, float) else value

    def encode(value: FieldValue) -> bytes:
        return next(
            code
            for code, known in values.items()
            if (known == value if isinstance(known, str) else _same(known, value, meaning.factor))
        )

    def sent(value: FieldValue) -> bytes:
        try:
            return encode(value)
        except StopIteration:
            raise ValueError("there is no code for it") from None

    pattern = b"(?:%s)" % b"|".join(map(re.escape, longest_first))
    return FieldCodec(name, meaning, pattern, decode, sent, codes)


def _same(known: float, value: FieldValue, factor: float) -> bool:
    return not isinstance(value, str) and abs(known * factor - value) <= _EXACT * abs(value)


def code_value(kind: FieldKind, text: str) -> FieldValue:
    """The value that a key of a code table names, in the field's own unit. Raises ValueError."""
    if kind == "word" or (kind == "switch" and text == FAULT):
        return text
    if kind == "switch":
        if text not in SWITCH:
            raise ValueError(f"'{text}' is no state: there are off, on and fault")
        return SWITCH[text]
    return parse_number(text)


def _nearest(name: str, raw: float) -> int:
    """The whole number nearest to `raw`; of a time limit the one below, but for rounding errors."""
    return floor(raw * (1 + _EXACT)) if name.startswith("limit_") else round(raw)


def _step(text: str | None) -> float:
    step = 1.0 if text is None else parse_number(text)
    if not 0 < step < 1e9:
        raise ValueError(f"a step of {step:g} makes no sense")
    return step
