"""Checksums of serial protocols, by name; needs the standard library only, for the guard.

The CRCs are the ones of the public CRC RevEng catalogue, whose names stand beside them.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import reduce
from operator import xor
from typing import Literal, NamedTuple, get_args

ChecksumName = Literal[
    "sum8",
    "sum8-twos-complement",
    "xor8",
    "sum16",
    "crc8-smbus",
    "crc8-maxim",
    "crc16-arc",
    "crc16-modbus",
    "crc16-ccitt-false",
    "crc16-xmodem",
    "crc16-kermit",
    "crc16-x25",
    "crc32",
]
CHECKSUMS: tuple[str, ...] = get_args(ChecksumName)


class Crc(NamedTuple):
    """The parameters of a CRC: Williams' model, as catalogues give them."""

    bits: int
    polynomial: int
    first: int
    reflected: bool
    """Whether bytes go in, and the remainder comes out, lowest bit first."""
    last: int
    """What the remainder is combined with at the end."""

    def of(self, data: bytes) -> int:
        """The CRC of `data`."""
        top, mask, remainder = 1 << (self.bits - 1), (1 << self.bits) - 1, self.first
        for byte in data:
            byte = _reversed(byte, 8) if self.reflected else byte
            remainder ^= byte << (self.bits - 8)
            for _ in range(8):
                carried = remainder & top
                remainder = ((remainder << 1) ^ (self.polynomial if carried else 0)) & mask
        return (_reversed(remainder, self.bits) if self.reflected else remainder) ^ self.last


def _reversed(number: int, bits: int) -> int:
    return int(f"{number:0{bits}b}"[::-1], 2)


_CRCS = {
    "crc8-smbus": Crc(8, 0x07, 0, False, 0),  # CRC-8/SMBUS
    "crc8-maxim": Crc(8, 0x31, 0, True, 0),  # CRC-8/MAXIM-DOW
    "crc16-arc": Crc(16, 0x8005, 0, True, 0),  # CRC-16/ARC
    "crc16-modbus": Crc(16, 0x8005, 0xFFFF, True, 0),  # CRC-16/MODBUS
    "crc16-ccitt-false": Crc(16, 0x1021, 0xFFFF, False, 0),  # CRC-16/IBM-3740
    "crc16-xmodem": Crc(16, 0x1021, 0, False, 0),  # CRC-16/XMODEM
    "crc16-kermit": Crc(16, 0x1021, 0, True, 0),  # CRC-16/KERMIT
    "crc16-x25": Crc(16, 0x1021, 0xFFFF, True, 0xFFFF),  # CRC-16/IBM-SDLC
    "crc32": Crc(32, 0x04C11DB7, 0xFFFFFFFF, True, 0xFFFFFFFF),  # CRC-32/ISO-HDLC
}
_SUMS: dict[str, tuple[int, Callable[[bytes], int]]] = {
    "sum8": (8, lambda data: sum(data) & 0xFF),
    "sum8-twos-complement": (8, lambda data: -sum(data) & 0xFF),
    "xor8": (8, lambda data: reduce(xor, data, 0)),
    "sum16": (16, lambda data: sum(data) & 0xFFFF),
}


def checksum(name: str, data: bytes) -> int:
    """The checksum `name` of `data`."""
    return _CRCS[name].of(data) if name in _CRCS else _SUMS[name][1](data)


def checksum_bytes(name: str) -> int:
    """How many bytes the checksum `name` has."""
    return (_CRCS[name].bits if name in _CRCS else _SUMS[name][0]) // 8
