"""The serial ports of this machine, found without opening any."""

from __future__ import annotations

import os
from dataclasses import dataclass

import anyio
from serial.tools.list_ports import comports

from ohmwright.model.errors import LinkError

LIST_TIMEOUT_S = 2.0
"""Some systems take many seconds to list ports that nobody asked for."""


@dataclass(frozen=True)
class FoundPort:
    """A serial port as the system describes it."""

    device: str
    description: str
    serial: str | None
    """Serial number of the USB adapter."""

    def goes_by(self, device: str) -> bool:
        """Whether `device` is a name of this port, symbolic links followed."""
        return os.path.realpath(self.device) == os.path.realpath(device)

    def __str__(self) -> str:
        number = f", serial={self.serial}" if self.serial else ""
        return f"{self.device} ({self.description}{number})"


async def found_ports() -> list[FoundPort]:
    """The serial ports found within two seconds."""
    with anyio.move_on_after(LIST_TIMEOUT_S):
        # nothing is read from a port here, so the thread may be left to itself
        found = await anyio.to_thread.run_sync(comports, abandon_on_cancel=True)
        return [FoundPort(port.device, port.description, port.serial_number) for port in found]
    return []


async def find_port(selector: str) -> str:
    """The device that `selector` names: `serial=NUMBER` of its USB adapter, else itself.

    Raises LinkError naming the ports found when none or several have the number.
    """
    key, equals, number = selector.partition("=")
    if not equals:
        return selector
    if key != "serial":
        raise LinkError(
            f"'{selector}' selects no port.",
            "A port is named, or chosen by the serial number of its USB adapter.",
            "Write a port's name or serial=NUMBER.",
        )
    ports = await found_ports()
    # Windows adds an A to the serial number of some adapters
    for wanted in (number, f"{number}A"):
        matches = [port for port in ports if port.serial == wanted]
        if len(matches) == 1:
            return matches[0].device
        if matches:
            break
    how_many = "Several serial ports have" if matches else "No serial port has"
    raise LinkError(
        f"{how_many} the serial number {number}.", ports_text(matches or ports), "Name the port."
    )


async def adapter_of(device: str) -> str | None:
    """Serial number of the USB adapter behind `device`; None where it has none."""
    return next((port.serial for port in await found_ports() if port.goes_by(device)), None)


def ports_text(ports: list[FoundPort]) -> str:
    """One sentence that lists `ports`."""
    return f"Ports found: {', '.join(map(str, ports)) or 'none'}."
