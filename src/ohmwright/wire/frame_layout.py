"""Where a message begins and ends on the line, and the checksum around it.

Needs the standard library only, since the guard imports it, too: both frame and open messages by
the same rules.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields
from typing import Any, Literal, NamedTuple

from .checksums import checksum, checksum_bytes

FramePart = Literal["begins", "length", "body", "mark", "checksum", "ends"]
LengthForm = Literal["u8", "u16", "u16le"]
ChecksumForm = Literal["hex", "hex-lower", "binary", "binary-le", "decimal"]


class Written(NamedTuple):
    """How a checksum of some bytes is written."""

    size: Callable[[int], int]
    """The bytes that it takes on the line, by the bytes of the checksum itself."""
    write: Callable[[int, int], bytes]
    """The number, and the bytes of the checksum, as they stand on the line."""
    read: Callable[[bytes], int]


_FORMS: Mapping[str, Written] = {
    "hex": Written(
        lambda size: 2 * size,
        lambda number, size: f"{number:0{2 * size}X}".encode(),
        lambda text: int(text, 16),
    ),
    "hex-lower": Written(
        lambda size: 2 * size,
        lambda number, size: f"{number:0{2 * size}x}".encode(),
        lambda text: int(text, 16),
    ),
    "binary": Written(
        lambda size: size,
        lambda number, size: number.to_bytes(size, "big"),
        lambda text: int.from_bytes(text, "big"),
    ),
    "binary-le": Written(
        lambda size: size,
        lambda number, size: number.to_bytes(size, "little"),
        lambda text: int.from_bytes(text, "little"),
    ),
    "decimal": Written(
        lambda size: len(str(256**size - 1)),
        lambda number, size: f"{number:0{len(str(256**size - 1))}d}".encode(),
        int,
    ),
}


@dataclass(frozen=True, slots=True)
class FrameLayout:
    """A frame: begins, length, body, mark, checksum, ends; each but the body may be absent."""

    ends: bytes = b"\n"
    begins: bytes = b""
    length: str = ""
    """How many bytes there are, as one of LengthForm; empty: a frame lasts until `mark` or
    `ends`."""
    length_counts: tuple[str, ...] = ("body",)
    """The parts whose bytes the length counts."""
    mark: bytes = b""
    """What stands between body and checksum."""
    checksum: str = ""
    """One of CHECKSUMS; empty where there is none."""
    checksum_form: str = "hex"
    """How it is written, as one of ChecksumForm."""
    checksum_over: tuple[str, ...] = ("body",)
    """The parts that it is computed over, in their order in the frame."""
    unasked: str = ""
    """A regular expression for bodies that come by themselves and are passed over; empty: none."""
    is_plain: bool = field(init=False)
    """Whether a frame is its body and an end, and nothing else."""

    def __post_init__(self) -> None:
        around = self.begins or self.length or self.mark or self.checksum
        object.__setattr__(self, "is_plain", not around)

    def wrap(self, body: bytes) -> bytes:
        """The frame around `body`."""
        parts = {"begins": self.begins, "body": body, "mark": self.mark, "ends": self.ends}
        parts["length"] = self._length(body)
        parts["checksum"] = self._checksum(parts)
        order = ("begins", "length", "body", "mark", "checksum", "ends")
        return b"".join(parts[name] for name in order)

    def split(self, data: bytes) -> tuple[bytes, bytes] | None:
        """The first frame in `data`, for `open`, and the rest; None where no frame is whole.

        Frames that nobody asks for are passed over, before it and behind it. Bytes before the
        beginning of a frame come out as a frame that `open` refuses. Of a plain one the end is cut
        off here: it was found here, and every reply passes.
        """
        if not self.unasked:
            return self._split(data)
        found = self._split(self.without_unasked(data))
        return None if found is None else (found[0], self.without_unasked(found[1]))

    def without_unasked(self, data: bytes) -> bytes:
        """`data` without the whole frames at its beginning that come by themselves."""
        while self.unasked and (found := self._split(data)) is not None:
            if not self._is_unasked(found[0]):
                break
            data = found[1]
        return data

    def _is_unasked(self, frame: bytes) -> bool:
        try:
            body = self.open(frame)
        except ValueError:
            return False
        return re.fullmatch(self.unasked.encode("latin-1"), body, re.DOTALL) is not None

    def _split(self, data: bytes) -> tuple[bytes, bytes] | None:
        """The first frame in `data`, whatever it is, and the rest."""
        if self.is_plain:
            body, ends, rest = data.partition(self.ends)
            return (body, rest) if ends else None
        if self.begins and not data.startswith(self.begins):
            begin = data.find(self.begins, 1)
            return None if begin < 0 else (data[:begin], data[begin:])
        end = self._end(data)
        return None if end is None or len(data) < end else (data[:end], data[end:])

    def open(self, frame: bytes) -> bytes:
        """The body of a `frame` as `split` gives it.

        Raises ValueError where begin, end or checksum are not right.
        """
        if self.is_plain:
            return frame
        tail = len(self.mark) + self._checksum_size + len(self.ends)
        head = len(self.begins) + self._length_size
        if len(frame) < head + tail or not self._is_framed(frame):
            raise ValueError("it does not begin and end as it should")
        body, after = frame[head : len(frame) - tail], frame[len(frame) - tail :]
        if not after.startswith(self.mark):
            raise ValueError("its checksum does not follow where it should")
        sent = after[len(self.mark) : len(self.mark) + self._checksum_size]
        length = frame[len(self.begins) : head]
        parts = {"begins": self.begins, "length": length, "body": body, "mark": self.mark}
        if length != self._length(body) or not self._is_checksum(sent, parts):
            changed = "its checksum or length is wrong: bytes were changed on the line"
            raise ValueError(self.odd_digits(frame) or changed)
        return body

    def odd_digits(self, data: bytes) -> str:
        """Return in words that the checksum of a text frame has too few digits; else empty."""
        if not self.checksum or self.checksum_form.startswith("binary"):
            return ""
        text = data.removesuffix(self.ends)
        told = text.rpartition(self.mark)[2] if self.mark else text
        kinds = b"0123456789" if self.checksum_form == "decimal" else b"0123456789abcdefABCDEF"
        digits = len(told) - len(told.rstrip(kinds))
        if digits == 0 or digits > self._checksum_size or (self.mark and digits != len(told)):
            return ""
        if digits == self._checksum_size:
            return ""
        return f"its checksum has {digits} digits, {self._checksum_size} expected"

    def as_orders(self) -> dict[str, Any]:
        """Return the layout as the guard gets it in its release orders: values that JSON has."""
        said = {given.name: getattr(self, given.name) for given in fields(self) if given.init}
        return {
            name: value.decode("latin-1") if isinstance(value, bytes) else value
            for name, value in said.items()
        }

    @classmethod
    def from_orders(cls, orders: Mapping[str, Any]) -> FrameLayout:
        """The layout that `as_orders` wrote."""
        raw = {name: orders[name].encode("latin-1") for name in ("ends", "begins", "mark")}
        lists = {name: tuple(orders[name]) for name in ("length_counts", "checksum_over")}
        return cls(**{**orders, **raw, **lists})

    @property
    def is_binary(self) -> bool:
        """Whether any byte may stand in a frame: its end is told by a number of bytes."""
        return self.length != ""

    @property
    def _length_size(self) -> int:
        return {"": 0, "u8": 1}.get(self.length, 2)

    @property
    def _checksum_size(self) -> int:
        if not self.checksum:
            return 0
        return _FORMS[self.checksum_form].size(checksum_bytes(self.checksum))

    def _is_framed(self, frame: bytes) -> bool:
        return frame.startswith(self.begins) and frame.endswith(self.ends)

    def _end(self, data: bytes) -> int | None:
        """Where the frame that `data` begins with ends; None where that cannot be told yet."""
        begin = len(self.begins)
        if self.length:
            head = data[begin : begin + self._length_size]
            if len(head) < self._length_size:
                return None
            return self._whole(int.from_bytes(head, _byte_order(self.length)))
        last = self.mark or self.ends
        at = data.find(last, begin)
        behind_mark = self._checksum_size + len(self.ends) if self.mark else 0
        return None if at < 0 else at + len(last) + behind_mark

    def _whole(self, counted: int) -> int:
        """The size in bytes of a whole frame whose length field says `counted`."""
        sizes = self._sizes()
        body = counted - sum(size for name, size in sizes.items() if name in self.length_counts)
        return sum(sizes.values()) + max(0, body)

    def _sizes(self) -> dict[str, int]:
        """The sizes in bytes of all parts but the body."""
        return {
            "begins": len(self.begins),
            "length": self._length_size,
            "mark": len(self.mark),
            "checksum": self._checksum_size,
            "ends": len(self.ends),
        }

    def _length(self, body: bytes) -> bytes:
        if not self.length:
            return b""
        counted = sum(size for name, size in self._sizes().items() if name in self.length_counts)
        return (counted + len(body)).to_bytes(self._length_size, _byte_order(self.length))

    def _checksum(self, parts: Mapping[str, bytes]) -> bytes:
        if not self.checksum:
            return b""
        form, size = _FORMS[self.checksum_form], checksum_bytes(self.checksum)
        return form.write(checksum(self.checksum, self._covered(parts)), size)

    def _is_checksum(self, sent: bytes, parts: Mapping[str, bytes]) -> bool:
        if not self.checksum:
            return True
        try:
            number = _FORMS[self.checksum_form].read(sent)
        except ValueError:
            return False
        return number == checksum(self.checksum, self._covered(parts))

    def _covered(self, parts: Mapping[str, bytes]) -> bytes:
        order = ("begins", "length", "body", "mark")
        return b"".join(parts[name] for name in order if name in self.checksum_over)


def _byte_order(length: str) -> Literal["big", "little"]:
    return "little" if length.endswith("le") else "big"
