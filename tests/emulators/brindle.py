"""Brindle 7, an invented analyzer on a slow line that echoes, with a remote mode and pauses.

Its manual, in short. 9600 baud, 7 bits, even parity. A message is text, `*`, the sum of the text's
bytes modulo 256 as two hexadecimal digits, and CR. Every character comes back as it is received;
then comes the reply in the same form, but ended by CR LF. 50 ms must pass after the reply before
the next message: what begins earlier is echoed and not obeyed. After switching on it is in local
control, where it obeys REM alone; LOC leaves remote control, and opens the contact.

    REM  LOC            OK
    ID?                 ID BRINDLE 7 serial
    LOAD kohm           connects, as in LOAD 0.300     OK
    LOAD?               LOAD=0.300 KOHM
    MAX seconds         longest time that KEY CLOSE may have, whole seconds     OK
    MAX?                MAX=12 S
    KEY CLOSE seconds   closes the contact for whole seconds, 1 to 60     OK
    KEY OPEN            OK
    KEY?                KEY=OPEN, KEY=CLOSED or KEY=TRIPPED, which is open, by its fuse
    LEFT?               LEFT=11 S
    I?                  I=412.3 MA, or I=---- where nothing was read yet

What it refuses it answers with ERR and a number: 1 checksum, 2 value, 3 unknown, 9 local control.
"""

from __future__ import annotations

import math

from .plant import Meter, Plant
from .port import Port

PAUSE_S = 0.05
LOADS_KOHM = ("0.050", "0.100", "0.300", "0.500")


class Brindle(Port):
    """The instrument on its port; `quick`: without the delays of its slow line."""

    def __init__(self, plant: Plant, *, interval_s: float = 0.2, quick: bool = False) -> None:
        super().__init__(0.0 if quick else 10 / 9600)
        self.plant = plant
        self._meter = Meter(plant, interval_s)
        self._pause_s = 0.0 if quick else PAUSE_S
        self.remote, self._max_s = False, 60
        self._left, self._begun_s, self._said_s = b"", 0.0, 0.0
        self.too_early = 0
        """Messages that began before the pause was over."""

    def tick(self) -> None:
        """Take a reading when it is due."""
        self._meter.latest()

    def hear(self, data: bytes) -> None:
        """Echo what comes, and obey each whole message."""
        if not self._left:
            self._begun_s = self.plant.now_s() - self.character_s * len(data)
        self.say(data)
        *messages, self._left = (self._left + data).split(b"\r")
        for message in messages:
            if self._begun_s - self._said_s < self._pause_s - 0.002:
                self.too_early += 1
                continue
            self._said_s = self.plant.now_s()
            if message:
                reply = self._framed(self._checked(message))
                # before it is said: a busy machine may hold this thread up after its last byte
                self._said_s = self.plant.now_s() + self.character_s * len(reply)
                self.say(reply)

    @staticmethod
    def _framed(reply: bytes) -> bytes:
        return reply + b"*%02X\r\n" % (sum(reply) % 256)

    def _checked(self, message: bytes) -> bytes:
        text, star, digits = message.rpartition(b"*")
        if not star or digits != b"%02X" % (sum(text) % 256):
            return b"ERR 1"
        try:
            return self._reply(text.decode("ascii")).encode()
        except ValueError:
            return b"ERR 2"

    def _reply(self, text: str) -> str:
        if text == "REM":
            self.remote = True
            return "OK"
        if not self.remote:
            return "ERR 9"
        if text == "LOC":
            self.remote = False
            self.plant.release()
            return "OK"
        return self._question(text) if text.endswith("?") else self._command(text)

    def _question(self, text: str) -> str:
        number, shown_ma = self._meter.latest()
        replies = {
            "ID?": "ID BRINDLE 7 B7-3301",
            "LOAD?": f"LOAD={self.plant.load_ohm / 1000:.3f} KOHM",
            "MAX?": f"MAX={self._max_s} S",
            "KEY?": "KEY=CLOSED" if self.plant.is_on else "KEY=OPEN",
            "LEFT?": f"LEFT={math.ceil(self.plant.left_s)} S",
            "I?": f"I={shown_ma:.1f} MA" if number else "I=----",
        }
        return replies.get(text, "ERR 3")

    def _command(self, text: str) -> str:
        word, _, rest = text.partition(" ")
        if word == "LOAD" and rest in LOADS_KOHM:
            self.plant.load_ohm = 1000 * float(rest)
        elif word == "MAX" and 1 <= int(rest) <= 60:
            self._max_s = int(rest)
        elif text == "KEY OPEN":
            self.plant.release()
        elif text.startswith("KEY CLOSE ") and 1 <= int(rest.split()[1]) <= self._max_s:
            self.plant.key(int(rest.split()[1]))
        else:
            return "ERR 2" if word in ("LOAD", "MAX", "KEY") else "ERR 3"
        return "OK"
