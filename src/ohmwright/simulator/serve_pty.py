"""A simulated bench on pseudo-terminals, one a port: for a client they are serial ports.

POSIX only.
"""

from __future__ import annotations

import os
import tty
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import anyio

from ohmwright.model.bench_file import SerialPort

from .bench import SimulatedBench
from .bench_ports import LineServer, PortAddresses, PortHandler, port_handlers

_MOST_WAITING = 1 << 18
"""Bytes that nobody reads are dropped beyond this, as on a real line."""


async def serve_ptys(
    bench: SimulatedBench,
    announce: Callable[[PortAddresses], None],
    *,
    link_dir: Path | None = None,
) -> None:
    """Serve until cancelled; `announce` gets the ports, and again when one has another name.

    `link_dir`, made when missing, gets a symbolic link for each port, named `analyzer`, `generator`
    and `control`, so that the names stay the same from run to run. Clients may come, vanish and
    come back. A port that a fault unplugs vanishes for its client and is at once plugged in again,
    as another device.
    """
    ports: dict[str, _Port] = {}

    def tell() -> None:
        names = {name: SerialPort(kind="serial", port=port.name) for name, port in ports.items()}
        announce(PortAddresses(**names))

    try:
        for name, handle in port_handlers(bench).items():
            ports[name] = _Port(handle, None if link_dir is None else link_dir / name)
        async with anyio.create_task_group() as tasks:
            for port in ports.values():
                tasks.start_soon(port.read, tell)
                tasks.start_soon(port.write)
            tell()
    finally:
        for port in ports.values():
            port.unplug()


class _Port:
    """One instrument's pseudo-terminal.

    A task of its own sends what a full line does not take, so that OFF is heard meanwhile.
    """

    def __init__(self, handle: PortHandler, link: Path | None) -> None:
        self._handle, self._link = handle, link
        self._stuck = anyio.Event()
        self._plug_in()

    @property
    def name(self) -> str:
        """The device that a client opens."""
        return os.ttyname(self._device) if self._link is None else str(self._link)

    def _plug_in(self) -> None:
        self._master, self._device = _pseudo_terminal()
        self._lines, self._waiting = LineServer(self._handle), bytearray()
        if self._link is not None:
            _link(self._link, os.ttyname(self._device))

    def unplug(self) -> None:
        """Remove the device and its link."""
        _close(self._master, self._device)
        if self._link is not None:
            self._link.unlink(missing_ok=True)

    def _replug(self) -> None:
        before = self._master, self._device
        self._plug_in()  # first, or the system gives it the same name again
        anyio.notify_closing(before[0])
        _close(*before)

    async def read(self, renamed: Callable[[], None]) -> None:
        """Answer messages; `renamed` is called when the port has another name than before."""
        while True:
            await anyio.wait_readable(self._master)
            try:
                self._answer()
            except ConnectionError:
                self._replug()
                renamed()

    def _answer(self) -> None:
        with suppress(BlockingIOError):
            self._waiting += self._lines.feed(os.read(self._master, 65536))
        self._write()
        if self._waiting:
            del self._waiting[_MOST_WAITING:]
            self._stuck.set()

    async def write(self) -> None:
        """Send the replies that wait, as fast as the line takes them."""
        while True:
            await self._stuck.wait()
            self._stuck = anyio.Event()
            with suppress(anyio.ClosedResourceError):
                while self._waiting:
                    await anyio.wait_writable(self._master)
                    self._write()

    def _write(self) -> None:
        with suppress(BlockingIOError):
            while self._waiting:
                del self._waiting[: os.write(self._master, self._waiting)]


def _pseudo_terminal() -> tuple[int, int]:
    """Master and device descriptors, raw and without echo.

    The device stays open here too, so that a client that closes its side is no hang-up and what it
    set on the line stays set.
    """
    master, device = os.openpty()
    tty.setraw(device)
    os.set_blocking(master, False)
    return master, device


def _close(master: int, device: int) -> None:
    os.close(master)
    os.close(device)


def _link(link: Path, device: str) -> None:
    """Make a symbolic link to `device`; one left by an earlier run is replaced."""
    link.parent.mkdir(parents=True, exist_ok=True)
    if link.is_symlink():
        link.unlink()
    link.symlink_to(device)
