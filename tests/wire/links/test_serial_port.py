"""How a serial port is set when it is opened: its format, its handshake, its control lines."""

from __future__ import annotations

from typing import Any

import pytest

from ohmwright.wire.links import serial_port
from ohmwright.wire.serial_format import SerialFormat


class NotedPort:
    """Stands for pyserial's port; keeps how it was made, and what was set before it opened."""

    def __init__(self, port: str | None, baud: int, **settings: Any) -> None:
        assert port is None  # pyserial would open it at once
        self.made = {"baudrate": baud, **settings}
        self.at_opening: dict[str, Any] = {}

    def open(self) -> None:
        self.at_opening = {k: v for k, v in vars(self).items() if k in ("port", "dtr", "rts")}


@pytest.mark.parametrize(
    ("handshake", "set_one"),
    [("xon/xoff", "xonxoff"), ("rts/cts", "rtscts"), ("dsr/dtr", "dsrdtr")],
)
def test_a_port_is_set_as_the_command_set_says(
    monkeypatch: pytest.MonkeyPatch, handshake: Any, set_one: str
) -> None:
    monkeypatch.setattr(serial_port, "Serial", NotedPort)
    said = SerialFormat(parity="odd", data_bits=7, stop_bits=2, handshake=handshake, dtr=False)
    port: Any = serial_port.opened_port("/dev/ttyS9", 4800, said.settings())
    assert port.at_opening == {"port": "/dev/ttyS9", "dtr": False, "rts": True}
    made = port.made
    assert (made["baudrate"], made["parity"], made["bytesize"], made["stopbits"]) == (
        4800,
        "O",
        7,
        2,
    )
    assert [name for name in ("xonxoff", "rtscts", "dsrdtr") if made[name]] == [set_one]
    assert made["exclusive"]
