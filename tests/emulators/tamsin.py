"""Tamsin 40, an invented analyzer that speaks binary frames with a CRC.

Its manual, in short. 19200 baud, even parity, 8 bits. Each message and each reply is a frame:

    A5 | length | body | CRC        length: bytes of the body; CRC-16 of length and body, polynomial
                                    8005, reflected, first FFFF, low byte first

The first byte of a body is its code; the reply has the same code with 80 added. Numbers are
unsigned, high byte first. What it does not understand it drops without a word; what it will not do
it answers with FF and a cause: 02 no such load, 03 no such limit, 04 unknown code.

    01            who are you            81, 16 characters
    10 load       connect, whole ohm     90
    11            which load             91 load
    20 limit      close the contact for so many tenths of a second, 1 to 300      A0
    21            open it                A1
    22            state                  A2, 00 open, 01 closed, 02 interlock; left in tenths of s
    30            reading                B0, count (4 bytes), tenths of mA (2 bytes)

A new reading is taken five times a second.
"""

from __future__ import annotations

from .plant import Meter, Plant
from .port import Port

LOADS_OHM = (50, 100, 300, 500)


def crc16(data: bytes) -> bytes:
    """The CRC of the frame, low byte first."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0xA001 if crc & 1 else crc >> 1
    return crc.to_bytes(2, "little")


class Tamsin(Port):
    """The instrument on its port."""

    def __init__(self, plant: Plant, serial: str = "T40-0117") -> None:
        super().__init__()
        self.plant, self._serial = plant, serial
        self._meter = Meter(plant, 0.2)
        self._left = b""

    def tick(self) -> None:
        """Take a reading when it is due."""
        self._meter.latest()

    def hear(self, data: bytes) -> None:
        """Answer every whole frame."""
        self._left += data
        while len(self._left) >= 2:
            if self._left[0] != 0xA5:
                self._left = self._left[1:]
                continue
            end = 4 + self._left[1]
            if len(self._left) < end:
                return
            frame, self._left = self._left[:end], self._left[end:]
            if crc16(frame[1:-2]) == frame[-2:]:
                self._answer(frame[2:-2])

    def _answer(self, body: bytes) -> None:
        reply = self._reply(body[0], body[1:])
        covered = bytes([len(reply)]) + reply
        self.say(b"\xa5" + covered + crc16(covered))

    def _reply(self, code: int, rest: bytes) -> bytes:
        number, done = int.from_bytes(rest, "big"), bytes([code | 0x80])
        if code == 0x01:
            return done + f"TAMSIN {self._serial}".ljust(16).encode()[:16]
        if code == 0x10:
            if number not in LOADS_OHM:
                return b"\xff\x02"
            self.plant.load_ohm = number
            return done
        if code == 0x11:
            return done + round(self.plant.load_ohm).to_bytes(2, "big")
        if code == 0x20:
            if not 1 <= number <= 300:
                return b"\xff\x03"
            self.plant.key(number / 10)
            return done
        if code == 0x21:
            self.plant.release()
            return done
        if code == 0x22:
            left = round(10 * self.plant.left_s).to_bytes(2, "big")
            return done + bytes([self.plant.is_on]) + left
        if code == 0x30:
            count, shown_ma = self._meter.latest()
            return done + count.to_bytes(4, "big") + round(10 * shown_ma).to_bytes(2, "big")
        return b"\xff\x04"
