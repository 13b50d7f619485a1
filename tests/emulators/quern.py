"""Quern 60, an invented generator whose replies end in a prompt.

Its manual, in short. 4800 baud, 7 bits, odd parity, two stop bits. A message is text and CR; it is
echoed. Then comes the reply, if there is one, with CR LF, and at last the prompt `>`, after which
the next message may come. `!n` and CR LF before the prompt refuses: 1 unknown, 2 value, 3 local.

    R           remote control, without which all but N is refused
    N           N QUERN60 00712
    M n         mode 1 or 2, cut or blend; M tells it, as M1
    P nnn       tenths of W, four digits; P tells it, as P0500
    V n         service mode 1 or 0; V tells it
    C           tells the adjustment point, as C01; C nn chooses it
    T hh        its trim, hexadecimal, 00 to FF with the middle at 80; T tells it
    K           keeps the trims; Q tells the one that is kept
"""

from __future__ import annotations

from .plant import Plant
from .port import Port

_MIDDLE = 0x80


class Quern(Port):
    """The unit on its port."""

    def __init__(self, plant: Plant) -> None:
        super().__init__()
        self.plant = plant
        self._remote, self._mode, self._service, self._left = False, 1, False, b""
        self.kept = plant.trim

    def hear(self, data: bytes) -> None:
        """Echo what comes, and answer each whole message."""
        self.say(data)
        *messages, self._left = (self._left + data).split(b"\r")
        for message in messages:
            try:
                reply = self._reply(*message.decode("ascii").split())
            except (TypeError, ValueError):
                reply = "!2"
            self.say((reply + "\r\n>" if reply else ">").encode())

    def _reply(self, word: str = "", value: str | None = None) -> str:
        if word == "R":
            self._remote = True
            return ""
        if word == "N":
            return "N QUERN60 00712"
        if not self._remote:
            return "!3"
        return self._told(word) if value is None else self._set(word, value)

    def _told(self, word: str) -> str:
        if word == "K":
            self.kept = self.plant.trim
            return ""
        said = {
            "M": f"M{self._mode}",
            "P": f"P{10 * self.plant.setting_w:04.0f}",
            "V": f"V{self._service:d}",
            "C": "C01",
            "T": f"T{self.plant.trim + _MIDDLE:02X}",
            "Q": f"Q{self.kept + _MIDDLE:02X}",
        }
        return said.get(word, "!1")

    def _set(self, word: str, value: str) -> str:
        if word == "M" and value in ("1", "2"):
            self._mode = int(value)
        elif word == "P" and int(value) <= 600:
            self.plant.setting_w = int(value) / 10
        elif word == "V":
            self._service = value == "1"
            self.plant.trim = self.plant.trim if self._service else self.kept
        elif word == "T" and self._service and 0 <= int(value, 16) <= 0xFF:
            self.plant.trim = int(value, 16) - _MIDDLE
        elif (word, value) != ("C", "01"):
            return "!2" if word in "PVTC" else "!1"
        return ""
