"""Sedge S1, an invented analyzer that sends its readings by itself.

Its manual, in short. 38400 baud. Whatever is sent, either way, is STX, text, ETX and one byte that
is the exclusive or of the text and ETX. `G` starts the stream, ten lines a second, `H` stops it:

    0412.5 1 0300 119       current in mA, contact (1 closed), load in ohm, tenths of s left

Commands are answered by `A`, done, or `N` and a cause (1 value, 2 unknown), at once and between two
lines of the stream. The contact opens at once on `K000`.

    V         VSedge S1 serial
    Lnnnn     connects a load resistance, ohm
    Knnn      closes the contact for so many tenths of a second; K000 opens it
"""

from __future__ import annotations

from functools import reduce
from operator import xor

from .plant import Plant
from .port import Port

INTERVAL_S = 0.1
LOADS_OHM = (50, 100, 300, 500)


class Sedge(Port):
    """The instrument on its port."""

    def __init__(self, plant: Plant) -> None:
        super().__init__()
        self.plant = plant
        self.streams, self._due_s, self._left = False, 0.0, b""

    def tick(self) -> None:
        """Send a line when it is due."""
        now_s = self.plant.now_s()
        if self.streams and now_s >= self._due_s:
            self._due_s = max(self._due_s + INTERVAL_S, now_s)
            p = self.plant
            shown_ma, left = p.shown_ma(), round(10 * p.left_s)
            self._frame(f"{shown_ma:06.1f} {p.is_on:d} {p.load_ohm:04.0f} {left:03d}")

    def hear(self, data: bytes) -> None:
        """Answer every whole message whose check byte is right."""
        self._left += data
        while (end := self._left.find(b"\x03")) >= 0 and len(self._left) > end + 1:
            frame, check = self._left[: end + 1], self._left[end + 1]
            self._left = self._left[end + 2 :]
            begin = frame.rfind(b"\x02")
            if begin >= 0 and reduce(xor, frame[begin + 1 :], 0) == check:
                self._frame(self._reply(frame[begin + 1 : -1].decode("latin-1")))

    def _frame(self, text: str) -> None:
        covered = text.encode() + b"\x03"
        self.say(b"\x02" + covered + bytes([reduce(xor, covered, 0)]))

    def _reply(self, text: str) -> str:
        if text == "V":
            return "VSedge S1 0042"
        if text in ("G", "H"):
            self.streams, self._due_s = text == "G", self.plant.now_s()
            return "A"
        if text[:1] not in ("L", "K"):
            return "N2"
        number = int(text[1:]) if text[1:].isdigit() else -1
        if text[0] == "L" and number in LOADS_OHM:
            self.plant.load_ohm = number
        elif text == "K000":
            self.plant.release()
        elif text[0] == "K" and 1 <= number <= 300:
            self.plant.key(number / 10)
        else:
            return "N1"
        return "A"
