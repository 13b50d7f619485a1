"""Error numbers of SCPI-1999 (chapter 21.8), not all of them, and an instrument's error queue."""

from __future__ import annotations

from collections import deque

ERRORS: dict[int, str] = {
    0: "No error",
    -100: "Command error",
    -101: "Invalid character",
    -102: "Syntax error",
    -103: "Invalid separator",
    -104: "Data type error",
    -105: "GET not allowed",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -110: "Command header error",
    -111: "Header separator error",
    -112: "Program mnemonic too long",
    -113: "Undefined header",
    -114: "Header suffix out of range",
    -115: "Unexpected number of parameters",
    -120: "Numeric data error",
    -121: "Invalid character in number",
    -123: "Exponent too large",
    -124: "Too many digits",
    -128: "Numeric data not allowed",
    -130: "Suffix error",
    -131: "Invalid suffix",
    -134: "Suffix too long",
    -138: "Suffix not allowed",
    -140: "Character data error",
    -141: "Invalid character data",
    -144: "Character data too long",
    -148: "Character data not allowed",
    -150: "String data error",
    -151: "Invalid string data",
    -158: "String data not allowed",
    -160: "Block data error",
    -161: "Invalid block data",
    -168: "Block data not allowed",
    -200: "Execution error",
    -203: "Command protected",
    -210: "Trigger error",
    -213: "Init ignored",
    -220: "Parameter error",
    -221: "Settings conflict",
    -222: "Data out of range",
    -223: "Too much data",
    -224: "Illegal parameter value",
    -230: "Data corrupt or stale",
    -240: "Hardware error",
    -241: "Hardware missing",
    -300: "Device specific error",
    -310: "System error",
    -330: "Self-test failed",
    -340: "Calibration failed",
    -350: "Queue overflow",
    -360: "Communication error",
    -361: "Parity error in program message",
    -362: "Framing error in program message",
    -363: "Input buffer overrun",
    -365: "Time out error",
    -400: "Query error",
    -410: "Query INTERRUPTED",
    -420: "Query UNTERMINATED",
    -430: "Query DEADLOCKED",
    -440: "Query UNTERMINATED after indefinite response",
    -500: "Power on",
    -600: "User request",
    -700: "Request control",
    -800: "Operation complete",
}

_DEVICE_ERROR = 8
_EVENT_BITS = {1: 32, 2: 16, 3: _DEVICE_ERROR, 4: 4, 5: 128, 6: 64, 7: 2, 8: 1}
"""Value of the bit for each hundred of the negative numbers."""


def event_bit(code: int) -> int:
    """Value of the standard event status bit that an error sets (IEEE 488.2, 11.5.1); 0 for none.

    Positive numbers are the device's own errors.
    """
    return _DEVICE_ERROR if code > 0 else _EVENT_BITS.get(-code // 100, 0)


class ErrorQueue:
    """A queue of error numbers; when full, its last entry becomes -350."""

    def __init__(self, size: int = 16) -> None:
        self._size = size
        self._codes: deque[int] = deque()

    def __len__(self) -> int:
        return len(self._codes)

    def push(self, code: int) -> None:
        """Add an error number."""
        if len(self._codes) < self._size:
            self._codes.append(code)
        else:
            self._codes[-1] = -350

    def pop(self) -> str:
        """Remove the oldest entry; its text as an instrument replies it."""
        code = self._codes.popleft() if self._codes else 0
        return f'{code},"{ERRORS.get(code, "Device specific error")}"'

    def clear(self) -> None:
        """Empty the queue."""
        self._codes.clear()
