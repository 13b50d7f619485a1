"""Opens a serial, TCP or VISA port through a guard."""

from __future__ import annotations

from contextlib import suppress
from typing import Any

from ohmwright.model.errors import LinkError
from ohmwright.wire.addresses import tcp_keys, visa_keys
from ohmwright.wire.links.failures import not_opened
from ohmwright.wire.links.ports import adapter_of, find_port
from ohmwright.wire.links.serial import refusal
from ohmwright.wire.links.tcp import HOW_TO_REACH
from ohmwright.wire.links.visa import CHECK_RESOURCE
from ohmwright.wire.portlock import device_keys

from .launcher import PortLocation
from .link import GuardedLink, open_guarded
from .making_orders import GuardOrders


async def open_guarded_serial(port: str, *, baud: int, commands: GuardOrders) -> GuardedLink:
    """A line through a guard to a serial port, by name or as `serial=NUMBER` of its USB adapter.

    Parity, bits and handshake are those of the command set. Raises LinkBusy naming who has the
    port, LinkError where it cannot be opened.
    """
    link, problem = await open_guarded(
        SerialLocator(port, baud, commands.serial.settings()).find, commands
    )
    if problem is not None:
        raise await refusal(link.name, problem.number, problem.why)
    return link


async def open_guarded_tcp(host: str, port: int, *, commands: GuardOrders) -> GuardedLink:
    """A line through a guard to `port` of `host`.

    Raises LinkBusy naming who has it, LinkError where nobody answers there.
    """

    async def find() -> PortLocation:
        where = {"kind": "tcp", "host": host, "port": port}
        return PortLocation(f"{host}:{port}", where, await tcp_keys(host, port))

    link, problem = await open_guarded(find, commands)
    if problem is not None:
        raise not_opened(link.name, problem.why, HOW_TO_REACH)
    return link


async def open_guarded_visa(resource: str, *, backend: str, commands: GuardOrders) -> GuardedLink:
    """A line through a guard to a VISA resource; `backend` is the library as pyvisa names it.

    Raises LinkBusy naming who has it, LinkError where it cannot be opened.
    """

    async def find() -> PortLocation:
        where = {"kind": "visa", "resource": resource, "backend": backend}
        return PortLocation(resource, where, await visa_keys(resource, backend))

    link, problem = await open_guarded(find, commands)
    if problem is not None:
        raise not_opened(f"{resource} ({backend})", problem.why, CHECK_RESOURCE)
    return link


class SerialLocator:
    """Locates a serial port, also after it was plugged in again as another device.

    Once known, the serial number of its USB adapter decides, else the name that was given.
    """

    def __init__(self, selector: str, baud: int, settings: dict[str, Any] | None = None) -> None:
        self._selector, self._baud, self._settings = selector, baud, settings or {}
        self._adapter: str | None = None

    async def find(self) -> PortLocation:
        """The present location. Raises LinkError where no port, or more than one, fits."""
        device = await self._device()
        self._adapter = self._adapter or await adapter_of(device)
        where = {
            "kind": "serial",
            "port": device,
            "baud": self._baud,
            "settings": self._settings,
        }
        return PortLocation(device, where, device_keys(device))

    async def _device(self) -> str:
        if self._adapter is not None:
            with suppress(LinkError):
                return await find_port(f"serial={self._adapter}")
        return await find_port(self._selector)
