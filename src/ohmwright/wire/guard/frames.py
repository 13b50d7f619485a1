"""What the engine and its guard say to each other: a kind, a sequence number, bytes."""

from __future__ import annotations

import struct
from collections.abc import Iterator

_HEAD = struct.Struct("!cII")
DATA = b"D"
"""Bytes to or from the instrument."""
WATCH = b"W"
"""From the engine: expect a frame at least every so many seconds (text); empty: no longer."""
HEARTBEAT = b"B"
"""From the engine: alive, with nothing to send."""
ACKNOWLEDGED = b"S"
"""From the engine: it knows that the guard tripped; until then its bytes are not passed on."""
READY = b"R"
"""From the guard: the port is open."""
TRIPPED = b"T"
"""From the guard: frames stayed away too long, so OFF was sent; `1` where it read back as off."""
FAILED = b"F"
"""From the guard: the port failed; kind of error, its number or nothing, its text: a line each."""


def pack(kind: bytes, sequence: int, data: bytes = b"") -> bytes:
    """One frame."""
    return _HEAD.pack(kind, sequence & 0xFFFFFFFF, len(data)) + data


class Unpacker:
    """Frames out of a stream cut anywhere."""

    def __init__(self) -> None:
        self._left = b""

    def feed(self, data: bytes) -> Iterator[tuple[bytes, int, bytes]]:
        """Kind, sequence number and bytes of every frame that is now whole."""
        self._left += data
        while len(self._left) >= _HEAD.size:
            kind, sequence, length = _HEAD.unpack_from(self._left)
            if len(self._left) < _HEAD.size + length:
                return
            body = self._left[_HEAD.size : _HEAD.size + length]
            self._left = self._left[_HEAD.size + length :]
            yield kind, sequence, body
