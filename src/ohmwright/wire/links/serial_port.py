"""Opens a serial port as pyserial's object; needs pyserial only, for the guard."""

from __future__ import annotations

from typing import Any

from serial import Serial, SerialException

from ohmwright.wire.port_bounds import WRITE_TIMEOUT_S


def opened_port(port: str, baud: int, settings: dict[str, Any]) -> Serial:
    """The open port, for this process alone.

    `settings`: of `SerialFormat.settings`; DTR and RTS are set before the port opens, since the
    change of a line resets some instruments. Raises SerialException.
    """
    lines = {name: settings[name] for name in ("dtr", "rts") if name in settings}
    rest = {name: value for name, value in settings.items() if name not in lines}
    made = Serial(None, baud, timeout=0, write_timeout=WRITE_TIMEOUT_S, exclusive=True, **rest)
    made.port = port
    for name, asserted in lines.items():
        setattr(made, name, asserted)
    try:
        made.open()
    except SerialException:
        raise
    except Exception as problem:  # termios has an error of its own, which is no OSError
        raise SerialException(
            f"it cannot be set to {baud} baud with {rest or 'its usual settings'}: {problem}"
        ) from None
    return made
