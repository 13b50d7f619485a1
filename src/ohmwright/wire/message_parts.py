"""The notation of message texts: literal text, bytes by name, and named fields in braces."""

from __future__ import annotations

import re
from string import Formatter
from typing import NamedTuple

_NAMES = (
    "NUL SOH STX ETX EOT ENQ ACK BEL BS HT LF VT FF CR SO SI "
    "DLE DC1 DC2 DC3 DC4 NAK SYN ETB CAN EM SUB ESC FS GS RS US SP"
)
"""The names of the first bytes in ASCII (ISO/IEC 646), in their order."""
_BYTES = {name: bytes([code]) for code, name in enumerate(_NAMES.split(" "))} | {"DEL": b"\x7f"}
_NAMED = re.compile(r"<(<|[A-Za-z0-9]+>)?")
_PRINTABLE = re.compile(r"[ -~]*")


class FieldPart(NamedTuple):
    """A field in braces; without a name it stands for bytes that are skipped."""

    name: str
    form: str
    """What stands after the colon."""


MessagePart = bytes | FieldPart


def message_parts(text: str, *, named_bytes: bool) -> tuple[MessagePart, ...]:
    """The parts of a message text, in their order. Raises ValueError.

    `named_bytes`: whether `<CR>` and `<0D>` stand for a byte and `<<` for `<`.
    """
    if _PRINTABLE.fullmatch(text) is None:
        how = " (write others by name, as in <CR> or <A5>)" if named_bytes else ""
        raise ValueError(f"{text!r} has characters outside printable ASCII{how}")
    try:
        found = list(Formatter().parse(text))
    except ValueError as problem:
        raise ValueError(f"'{text}' has braces that do not match: {problem}") from None
    parts = list[MessagePart]()
    for literal, name, form, conversion in found:
        if literal:
            parts.append(literal_bytes(literal) if named_bytes else literal.encode("ascii"))
        if name is not None:
            if conversion or "{" in (form or ""):
                raise ValueError(f"'{{{name}}}' may have a format like '.3f' and nothing else")
            parts.append(FieldPart(name, form or ""))
    return tuple(parts)


def literal_bytes(text: str) -> bytes:
    """The bytes of `text`, in which `<CR>` and `<0D>` stand for one. Raises ValueError."""

    def one(found: re.Match[str]) -> str:
        name = (found[1] or "").removesuffix(">")
        if name == "<":
            return "<"
        if name.upper() in _BYTES:
            return _BYTES[name.upper()].decode("latin-1")
        if re.fullmatch(r"[0-9A-Fa-f]{2}", name):
            return chr(int(name, 16))
        raise ValueError(
            f"'{found[0]}' names no byte; write one as in <CR> or <A5>, and '<' as '<<'"
        )

    try:
        return _NAMED.sub(one, text).encode("latin-1")
    except UnicodeEncodeError:
        raise ValueError(f"{text!r} has characters that are no bytes") from None


_NAME_OF = {data: f"<{name}>" for name, data in _BYTES.items() if name != "SP"} | {b"<": "<<"}


def shown_bytes(data: bytes) -> str:
    """The text by which `literal_bytes` names `data`."""
    return "".join(_shown(data[at : at + 1]) for at in range(len(data)))


def shown_text(text: str) -> str:
    """`text` that an instrument said, with what cannot be printed named as in `literal_bytes`.

    A control character from a disturbed line would reach the terminal, and could hide what follows.
    """
    return "".join(one if one.isprintable() else _shown(one.encode("latin-1")) for one in text)


def _shown(byte: bytes) -> str:
    if byte in _NAME_OF:
        return _NAME_OF[byte]
    return byte.decode("ascii") if b" " <= byte <= b"~" else f"<{byte[0]:02X}>"
