"""Osier 90, an invented generator with a port.

Its manual, in short. A message is `$`, text, `*`, the exclusive or of the text's bytes as two
hexadecimal digits, CR LF; so is a reply.

    WHO              WHO Osier 90 serial
    MODE C or B      chooses cut or blend              OK
    MODE             MODE C
    PWR nnn          chooses the power, whole watts    OK
    PWR              PWR 050 W
    SVC 1, SVC 0     enters or leaves service mode     OK
    SVC              SVC ON, SVC OFF
    PT n             chooses adjustment point 1        OK
    PT               PT 1
    TRIM +nnn        sets the trim of the point        OK
    TRIM             TRIM +012
    KEEP             keeps the trims                   OK
    KEPT             KEPT +012

What it refuses it answers with NO and a number.
"""

from __future__ import annotations

from functools import reduce
from operator import xor

from .plant import Plant
from .port import Port


class Osier(Port):
    """The unit on its port."""

    def __init__(self, plant: Plant) -> None:
        super().__init__()
        self.plant = plant
        self._mode, self._service, self._left = "C", False, b""
        self.kept = plant.trim
        """The trim that outlasts service mode."""

    def hear(self, data: bytes) -> None:
        """Answer every whole message whose checksum is right."""
        *messages, self._left = (self._left + data).split(b"\r\n")
        for message in messages:
            text, _, digits = message[message.rfind(b"$") + 1 :].partition(b"*")
            if digits == b"%02X" % reduce(xor, text, 0):
                reply = self._reply(text.decode("ascii")).encode()
                self.say(b"$%s*%02X\r\n" % (reply, reduce(xor, reply, 0)))

    def _reply(self, text: str) -> str:
        said = {
            "WHO": "WHO Osier 90 O90-512",
            "MODE": f"MODE {self._mode}",
            "PWR": f"PWR {self.plant.setting_w:03.0f} W",
            "SVC": "SVC ON" if self._service else "SVC OFF",
            "PT": "PT 1",
            "TRIM": f"TRIM {self.plant.trim:+04d}",
            "KEPT": f"KEPT {self.kept:+04d}",
        }
        if text in said:
            return said[text]
        word, _, rest = text.partition(" ")
        if word == "MODE" and rest in ("C", "B"):
            self._mode = rest
        elif word == "PWR" and rest.isdigit() and int(rest) <= 90:
            self.plant.setting_w = int(rest)
        elif text in ("SVC 1", "SVC 0"):
            self._service = rest == "1"
            if not self._service:
                self.plant.trim = self.kept
        elif word == "TRIM" and self._service and abs(int(rest)) <= 100:
            self.plant.trim = int(rest)
        elif text == "KEEP" and self._service:
            self.kept = self.plant.trim
        elif text != "PT 1":
            return "NO 1"
        return "OK"
