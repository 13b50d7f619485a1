"""Larch A2, an invented analyzer that is armed before it is fired, and echoes what it hears.

Its manual, in short. 9600 baud; a line is ended by CR, sent back as it came, then answered by a
line. `WHO` and its name; `R nnn` connects a load resistance in ohm, `R?` says which. `ARM n.n`
arms it for one activation of at most n.n seconds (30 at most) and is answered `ARMED n.n`; it
stays armed for 2 s. `FIRE` closes the contact, `FIRING`; unarmed it says `NOT ARMED`. `STOP` opens
it and disarms it, `STOPPED`. `S?` is answered `S OPEN`, `S ARMED` or `S CLOSED`, `LEFT?` by the
seconds left, `I?` by the number of a reading and mA; five readings a second. What it does not
know: `WHAT`.
"""

from __future__ import annotations

import math

from .plant import Meter, Plant
from .port import Port

LOADS_OHM = (50, 100, 300, 500)
_ARMED_S, _LONGEST_S = 2.0, 30.0


class Larch(Port):
    """The instrument on its port. `forgets`: whether it answers ARM and does not do it."""

    def __init__(self, plant: Plant, *, forgets: bool = False) -> None:
        super().__init__()
        self.plant, self._forgets = plant, forgets
        self._meter = Meter(plant, 0.2)
        self._armed_until_s, self._limit_s = -math.inf, 0.0
        self._left = b""
        self.heard: list[str] = []

    def tick(self) -> None:
        """Take a reading when it is due."""
        self._meter.latest()

    def hear(self, data: bytes) -> None:
        """Send every whole line back, and answer it."""
        *lines, self._left = (self._left + data).split(b"\r")
        for line in lines:
            self.say(line + b"\r")
            self.say(self._reply(line.decode("latin-1")).encode() + b"\r")

    @property
    def _is_armed(self) -> bool:
        return self.plant.now_s() < self._armed_until_s

    def _reply(self, text: str) -> str:
        word, _, rest = text.partition(" ")
        self.heard.append(word)
        if word in ("R", "ARM"):
            return self._set(word, float(rest))
        number, shown_ma = self._meter.latest()
        state = "CLOSED" if self.plant.is_on else "ARMED" if self._is_armed else "OPEN"
        replies = {
            "WHO": "LARCH A2/0042",
            "R?": f"R {self.plant.load_ohm:.0f}",
            "S?": f"S {state}",
            "LEFT?": f"LEFT {self.plant.left_s:.1f}",
            "I?": f"I {number:05d} {shown_ma:.1f}",
        }
        if word in ("FIRE", "STOP"):
            return self._fire() if word == "FIRE" else self._stop()
        return replies.get(word, "WHAT")

    def _set(self, word: str, number: float) -> str:
        if word == "R" and number in LOADS_OHM:
            self.plant.load_ohm = number
            return "OK"
        if word == "ARM" and 0 < number <= _LONGEST_S:
            if not self._forgets:
                self._armed_until_s, self._limit_s = self.plant.now_s() + _ARMED_S, number
            return f"ARMED {number:.1f}"
        return "WHAT"

    def _fire(self) -> str:
        if not self._is_armed:
            return "NOT ARMED"
        self._armed_until_s = -math.inf
        self.plant.key(self._limit_s)
        return "FIRING"

    def _stop(self) -> str:
        self._armed_until_s = -math.inf
        self.plant.release()
        return "STOPPED"
