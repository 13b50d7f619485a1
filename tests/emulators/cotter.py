"""Cotter 2, an invented analyzer of the barest kind: bare numbers, no answer to a command.

Its manual, in short. 9600 baud, lines ended by LF. `W` who, `R` load in ohm, `K` contact (1
closed), `T` seconds left, `I` reading in mA, are answered. `R nnn` connects a load resistance,
`K n.n` closes the contact for n.n seconds (0 opens it); these are not answered, and what it does
not have it does not do.
"""

from __future__ import annotations

from .plant import Meter, Plant
from .port import Port

LOADS_OHM = (50, 100, 300, 500)


class Cotter(Port):
    """The instrument on its port."""

    def __init__(self, plant: Plant) -> None:
        super().__init__()
        self.plant = plant
        self._meter = Meter(plant, 0.2)
        self._left = b""

    def tick(self) -> None:
        """Take a reading when it is due."""
        self._meter.latest()

    def hear(self, data: bytes) -> None:
        """Obey every whole line."""
        *lines, self._left = (self._left + data).split(b"\n")
        for line in lines:
            reply = self._reply(line.decode("latin-1").strip())
            if reply:
                self.say(reply.encode() + b"\n")

    def _reply(self, text: str) -> str:
        replies = {
            "W": "Cotter 2 no. 58",
            "R": f"{self.plant.load_ohm:.0f}",
            "K": f"{self.plant.is_on:d}",
            "T": f"{self.plant.left_s:.1f}",
            "I": f"{self._meter.latest()[1]:.1f}",
        }
        if text in replies:
            return replies[text]
        word, _, rest = text.partition(" ")
        try:
            number = float(rest)
        except ValueError:
            return ""
        if word == "R" and number in LOADS_OHM:
            self.plant.load_ohm = number
        elif word == "K" and number == 0:
            self.plant.release()
        elif word == "K" and 0 < number <= 30:
            self.plant.key(number)
        return ""
