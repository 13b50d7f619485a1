"""The messages between engine and guard: a kind, a sequence number and bytes."""

from __future__ import annotations

import struct
from collections.abc import Iterator

_HEAD = struct.Struct("!cII")
DATA = b"D"
"""Bytes to or from the instrument."""
WATCH = b"W"
"""From the engine: expect a frame at least every so many seconds (as text); empty: not any more."""
HEARTBEAT = b"B"
"""From the engine: alive, with nothing to send."""
ACKNOWLEDGED = b"S"
"""From the engine: the trip is known; until then no bytes of the engine are passed on."""
PING = b"P"
"""From the engine: does the guard itself answer? It sends the same back."""
READY = b"R"
"""From the guard: the port is open."""
TRIPPED = b"T"
"""From the guard: no frame came for too long and OFF was sent; `1` where it read back as off."""
FAILED = b"F"
"""From the guard: the port failed. Three lines: error class, system error number or none, text."""


def pack(kind: bytes, sequence: int, data: bytes = b"") -> bytes:
    """The bytes of one frame."""
    return _HEAD.pack(kind, sequence & 0xFFFFFFFF, len(data)) + data


class Unpacker:
    """Takes frames out of a stream of bytes that may be cut anywhere."""

    def __init__(self) -> None:
        self._left = b""

    def feed(self, data: bytes) -> Iterator[tuple[bytes, int, bytes]]:
        """Kind, sequence number and bytes of each frame that `data` completes."""
        self._left += data
        while len(self._left) >= _HEAD.size:
            kind, sequence, length = _HEAD.unpack_from(self._left)
            if len(self._left) < _HEAD.size + length:
                return
            body = self._left[_HEAD.size : _HEAD.size + length]
            self._left = self._left[_HEAD.size + length :]
            yield kind, sequence, body
