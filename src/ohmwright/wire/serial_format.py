"""How a serial port is set for one kind of instrument, apart from its speed."""

from __future__ import annotations

from typing import Any, Literal

from ohmwright.model.base import FrozenModel

_PARITY = {"none": "N", "even": "E", "odd": "O", "mark": "M", "space": "S"}


class SerialFormat(FrozenModel):
    """Parity, bits, handshake and control lines of a port; absent: 8N1 without handshake."""

    parity: Literal["none", "even", "odd", "mark", "space"] = "none"
    data_bits: Literal[7, 8] = 8
    stop_bits: Literal[1, 2] = 1
    handshake: Literal["none", "xon/xoff", "rts/cts", "dsr/dtr"] = "none"
    dtr: bool = True
    """Whether DTR is asserted when the port is opened."""
    rts: bool = True
    """Whether RTS is asserted when the port is opened."""

    def settings(self) -> dict[str, Any]:
        """The arguments of `links.serial_port.opened_port`, as plain data."""
        return {
            "parity": _PARITY[self.parity],
            "bytesize": self.data_bits,
            "stopbits": self.stop_bits,
            "xonxoff": self.handshake == "xon/xoff",
            "rtscts": self.handshake == "rts/cts",
            "dsrdtr": self.handshake == "dsr/dtr",
            "dtr": self.dtr,
            "rts": self.rts,
        }
