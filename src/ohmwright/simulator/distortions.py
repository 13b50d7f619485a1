"""What can befall a message or a reply on its way: one tiny class each, bytes in, bytes out."""

from __future__ import annotations

from random import Random

_DIGITS = b"0123456789"


class Distortion:
    """Passes everything on; `distort` says what arrives instead of what is struck."""

    def __init__(self, draws: Random) -> None:
        self.draws = draws
        self.held: list[bytes] = []
        self.earlier = b"\x00\xff\n"
        """The last different one that passed, where there was one."""

    def distort(self, data: bytes) -> list[bytes]:
        """What arrives instead of `data`."""
        return [data]

    def pass_on(self, data: bytes) -> list[bytes]:
        """What arrives when `data` is not struck: it, after what was held back."""
        held, self.held = self.held, []
        return [*held, data]


class DigitError(Distortion):
    """One digit becomes another, so that the text stays well formed."""

    def distort(self, data: bytes) -> list[bytes]:
        """Change one digit, where there is one."""
        places = [place for place, byte in enumerate(data) if byte in _DIGITS]
        if not places:
            return [data]
        place = self.draws.choice(places)
        other = self.draws.choice([digit for digit in _DIGITS if digit != data[place]])
        return [data[:place] + bytes([other]) + data[place + 1 :]]


class BitFlip(Distortion):
    """One bit of one byte turns over, that of the terminator perhaps."""

    def distort(self, data: bytes) -> list[bytes]:
        """Turn one bit over."""
        spoilt = bytearray(data)
        spoilt[self.draws.randrange(len(data))] ^= 1 << self.draws.randrange(8)
        return [bytes(spoilt)]


class StuckBit(Distortion):
    """One bit is stuck in every digit that passes."""

    def __init__(self, draws: Random) -> None:
        super().__init__(draws)
        self._bit, self._high = 1 << draws.randrange(4), draws.random() < 0.5

    def distort(self, data: bytes) -> list[bytes]:
        """Set or clear the bit in each digit."""
        return [bytes(self._stuck(byte) if byte in _DIGITS else byte for byte in data)]

    def _stuck(self, byte: int) -> int:
        return byte | self._bit if self._high else byte & ~self._bit


class FixedByteError(Distortion):
    """The byte at one place of every message is changed."""

    def __init__(self, draws: Random) -> None:
        super().__init__(draws)
        self._place = draws.randrange(12)

    def distort(self, data: bytes) -> list[bytes]:
        """Turn the lowest bit of that place over: a digit stays a digit."""
        if self._place >= len(data) - 1:
            return [data]
        spoilt = bytearray(data)
        spoilt[self._place] ^= 1
        return [bytes(spoilt)]


class Truncation(Distortion):
    """The second half is lost, its terminator too."""

    def distort(self, data: bytes) -> list[bytes]:
        """Keep the first half."""
        return [data[: len(data) // 2]]


class Loss(Distortion):
    """Nothing arrives."""

    def distort(self, data: bytes) -> list[bytes]:  # noqa: ARG002
        """Nothing."""
        return []


class Duplication(Distortion):
    """It arrives twice at once."""

    def distort(self, data: bytes) -> list[bytes]:
        """Twice."""
        return [data, data]


class DelayedDuplication(Distortion):
    """It arrives, and once more ahead of the next."""

    def distort(self, data: bytes) -> list[bytes]:
        """Now, and later again."""
        held, self.held = self.held, [data]
        return [*held, data]


class Delay(Distortion):
    """It arrives only ahead of the next."""

    def distort(self, data: bytes) -> list[bytes]:
        """What was held before, in its place."""
        held, self.held = self.held, [data]
        return held


class LongDelay(Delay):
    """It and what follows arrive three messages later, in order."""

    _behind = 3

    def distort(self, data: bytes) -> list[bytes]:
        """What has waited long enough."""
        self.held.append(data)
        return [] if len(self.held) <= self._behind else [self.held.pop(0)]

    def pass_on(self, data: bytes) -> list[bytes]:
        """Hold on until enough wait."""
        if not self.held:
            return [data]
        self.held.append(data)
        if len(self.held) <= self._behind:
            return []
        held, self.held = self.held, []
        return held


class Reordering(Distortion):
    """It changes places with the next."""

    def distort(self, data: bytes) -> list[bytes]:
        """Hold it, or let it go after `data`."""
        if self.held:
            return self.pass_on(data)
        self.held = [data]
        return []

    def pass_on(self, data: bytes) -> list[bytes]:
        """`data` first."""
        held, self.held = self.held, []
        return [data, *held]


class StaleInsertion(Distortion):
    """An earlier, different one arrives ahead of it."""

    def distort(self, data: bytes) -> list[bytes]:
        """The earlier one, then `data`."""
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
