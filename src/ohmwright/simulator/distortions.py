"""Distortions of a message or reply on its way, one class each: bytes in, bytes out."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from random import Random

_DIGITS = b"0123456789"


class Distortion:
    """Passes everything on unchanged; subclasses say what `distort` does instead."""

    def __init__(self, draws: Random) -> None:
        self.draws = draws
        self.held: list[bytes] = []
        self.earlier = b"\x00\xff\n"
        """The last message before it that differs, where there was one."""

    def distort(self, data: bytes) -> list[bytes]:
        """The pieces that arrive instead of `data`."""
        return [data]

    def pass_on(self, data: bytes) -> list[bytes]:
        """The pieces that arrive where `data` is not struck: those held back, then `data`."""
        held, self.held = self.held, []
        return [*held, data]


class DigitError(Distortion):
    """One digit is replaced by another, so that the text stays well formed."""

    def distort(self, data: bytes) -> list[bytes]:
        """`data` with one digit replaced, where it has one."""
        places = [place for place, byte in enumerate(data) if byte in _DIGITS]
        if not places:
            return [data]
        place = self.draws.choice(places)
        other = self.draws.choice([digit for digit in _DIGITS if digit != data[place]])
        return [data[:place] + bytes([other]) + data[place + 1 :]]


class BitFlip(Distortion):
    """One bit of one byte is inverted, perhaps of the terminator."""

    def distort(self, data: bytes) -> list[bytes]:
        """`data` with one bit inverted."""
        spoilt = bytearray(data)
        spoilt[self.draws.randrange(len(data))] ^= 1 << self.draws.randrange(8)
        return [bytes(spoilt)]


class StuckBit(Distortion):
    """One bit is stuck, high or low, in every digit."""

    def __init__(self, draws: Random) -> None:
        super().__init__(draws)
        self._bit, self._high = 1 << draws.randrange(4), draws.random() < 0.5

    def distort(self, data: bytes) -> list[bytes]:
        """`data` with that bit set or cleared in each digit."""
        return [bytes(self._stuck(byte) if byte in _DIGITS else byte for byte in data)]

    def _stuck(self, byte: int) -> int:
        return byte | self._bit if self._high else byte & ~self._bit


class FixedByteError(Distortion):
    """The byte at one position of every message is changed."""

    def __init__(self, draws: Random) -> None:
        super().__init__(draws)
        self._place = draws.randrange(12)

    def distort(self, data: bytes) -> list[bytes]:
        """`data` with the lowest bit of that byte inverted: a digit stays a digit."""
        if self._place >= len(data) - 1:
            return [data]
        spoilt = bytearray(data)
        spoilt[self._place] ^= 1
        return [bytes(spoilt)]


class Truncation(Distortion):
    """The second half is lost, with the terminator."""

    def distort(self, data: bytes) -> list[bytes]:
        """The first half of `data`."""
        return [data[: len(data) // 2]]


class Loss(Distortion):
    """The message is lost."""

    def distort(self, data: bytes) -> list[bytes]:  # noqa: ARG002
        """Nothing."""
        return []


class Duplication(Distortion):
    """The message arrives twice at once."""

    def distort(self, data: bytes) -> list[bytes]:
        """`data` twice."""
        return [data, data]


class DelayedDuplication(Distortion):
    """The message arrives, and again ahead of the next one."""

    def distort(self, data: bytes) -> list[bytes]:
        """What was held before, then `data`, which is held for the next, too."""
        held, self.held = self.held, [data]
        return [*held, data]


class Delay(Distortion):
    """The message arrives only ahead of the next one."""

    def distort(self, data: bytes) -> list[bytes]:
        """What was held before; `data` is held."""
        held, self.held = self.held, [data]
        return held


class LongDelay(Delay):
    """The message and those that follow arrive three messages later, in order."""

    _behind = 3

    def distort(self, data: bytes) -> list[bytes]:
        """The piece that has waited for three others, if any; `data` is held."""
        self.held.append(data)
        return [] if len(self.held) <= self._behind else [self.held.pop(0)]

    def pass_on(self, data: bytes) -> list[bytes]:
        """Nothing until more than three pieces wait, then all; `data` itself where none waits."""
        if not self.held:
            return [data]
        self.held.append(data)
        if len(self.held) <= self._behind:
            return []
        held, self.held = self.held, []
        return held


class Reordering(Distortion):
    """The message changes places with the next one."""

    def distort(self, data: bytes) -> list[bytes]:
        """Nothing, with `data` held; `data` and then the held one where one is held."""
        if self.held:
            return self.pass_on(data)
        self.held = [data]
        return []

    def pass_on(self, data: bytes) -> list[bytes]:
        """`data`, then what was held."""
        held, self.held = self.held, []
        return [data, *held]


class StaleInsertion(Distortion):
    """An earlier, different message arrives ahead of it."""

    def distort(self, data: bytes) -> list[bytes]:
        """The earlier message, then `data`."""
        return [self.earlier, data]


class Disconnection(Distortion):
    """The line is gone."""

    def distort(self, data: bytes) -> list[bytes]:  # noqa: ARG002
        """Raise ConnectionResetError."""
        raise ConnectionResetError("it was unplugged")


DISTORTIONS: dict[str, type[Distortion]] = {
    "digit": DigitError,
    "bit": BitFlip,
    "stuck": StuckBit,
    "place": FixedByteError,
    "cut": Truncation,
    "lose": Loss,
    "repeat": Duplication,
    "again": DelayedDuplication,
    "late": Delay,
    "later": LongDelay,
    "reorder": Reordering,
    "insert": StaleInsertion,
    "unplug": Disconnection,
}
