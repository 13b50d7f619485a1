"""A serial port, opened by pyserial for this process alone."""

from __future__ import annotations

import errno
import os
import sys
from typing import Any

from serial import Serial, SerialException

from ohmwright.model.errors import LinkBusy, LinkError
from ohmwright.wire.link import Link
from ohmwright.wire.port_bounds import CHUNK
from ohmwright.wire.portlock import PortLock, device_lock

from .descriptor import DescriptorLink
from .failures import not_opened
from .ports import find_port, found_ports, ports_text
from .serial_port import opened_port
from .threaded import SLICE_S, ThreadLink, owner_thread

_BUSY = {errno.EBUSY, errno.EAGAIN}


async def open_serial(
    port: str, *, baud: int = 115200, settings: dict[str, Any] | None = None
) -> Link:
    """A line to a serial port, by name or as `serial=NUMBER` of its USB adapter.

    `baud` bits a second; `settings` of `SerialFormat`, absent: 8 bits, no parity, one stop bit.
    Raises LinkBusy naming who has the port,
    LinkError listing the ports found where it is not there.
    """
    device = await find_port(port)
    lock = device_lock(device)
    try:
        opened = opened_port(device, baud, settings or {})
    except SerialException as problem:
        lock.release()
        raise await refusal(device, problem.errno, str(problem)) from None
    except BaseException:
        lock.release()
        raise
    return _LINK(device, opened, lock)


class SerialLink(DescriptorLink):
    """A serial port on systems whose event loop can wait for one: all but Windows."""

    def __init__(self, name: str, port: Serial, lock: PortLock) -> None:
        super().__init__(name, port.fileno(), lock)
        self._port = port

    def _take(self) -> bytes:
        return os.read(self._descriptor, CHUNK)

    def _give(self, data: bytes) -> int:
        return os.write(self._descriptor, data)

    def _close(self) -> None:
        self._port.close()


class SerialThreadLink(ThreadLink):
    """A serial port owned by one thread, for Windows."""

    def __init__(self, name: str, port: Serial, lock: PortLock) -> None:
        super().__init__(name, lock, owner_thread(name))
        self._port = port
        port.timeout = SLICE_S

    def _read_slice(self, _slice_s: float) -> bytes:
        first = self._port.read(1)
        return first + self._port.read(self._port.in_waiting) if first else b""

    def _write_all(self, data: bytes) -> None:
        self._port.write(data)

    def _close(self) -> None:
        self._port.close()

    def _stop_waiting(self) -> None:
        self._port.cancel_read()


_LINK = SerialThreadLink if sys.platform == "win32" else SerialLink


async def refusal(device: str, number: int | None, why: str) -> LinkError:
    """The error for a port that the system refuses with error `number` and text `why`."""
    if number in _BUSY or "exclusively lock" in why:
        return LinkBusy(
            f"{device} is in use by another program.",
            "Two programs on one line would read each other's replies.",
            "End the other program, or wait until it is done.",
        )
    if number == errno.EACCES:
        do = "Ask for the right to use serial ports (on Linux: the group dialout)."
        return not_opened(device, "permission denied", do)
    found = ports_text(await found_ports())
    return not_opened(device, _reason(number, why), f"{found} Check name and cable.")


def _reason(number: int | None, why: str) -> str:
    if number == errno.ENOENT:
        return "there is no such port"
    return "it is no serial port" if "configure port" in why else why
