"""A simulated bench on pseudo-terminals, one a port: to a client they are serial ports.

POSIX only.
"""

from __future__ import annotations

import os
import tty
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

import anyio

from ohmwright.model.bench_file import SerialPort

from .bench import SimulatedBench
from .served import Addresses, Handle, Lines, handlers

_MOST_WAITING = 1 << 18
"""Bytes that nobody reads are dropped beyond this, as on a real line."""


async def serve_ptys(
    bench: SimulatedBench,
    announce: Callable[[Addresses], None],
    *,
    link_dir: Path | None = None,
) -> None:
    """Serve until cancelled; `announce` is told the ports.

    `link_dir`, made when missing, gets a symbolic link for each port, named `analyzer`,
    `generator` and `control`, so that the names stay the same from run to run.
    Clients may come, vanish and come back.
    """
    with ExitStack() as stack:
        ports, addresses = [], {}
        for name, handle in handlers(bench).items():
            master, device = stack.enter_context(_pseudo_terminal())
            if link_dir is not None:
                device = stack.enter_context(_linked(link_dir / name, device))
            addresses[name] = SerialPort(kind="serial", port=device)
            ports.append(_Port(master, handle))
        async with anyio.create_task_group() as tasks:
            for port in ports:
                tasks.start_soon(port.read)
                tasks.start_soon(port.write)
            announce(Addresses(**addresses))


class _Port:
    """One master side. What a full line cannot take waits for a task of its own, so that OFF is
    heard all the same.
    """

    def __init__(self, master: int, handle: Handle) -> None:
        self._master, self._lines = master, Lines(handle)
        self._waiting = bytearray()
        self._stuck = anyio.Event()

    async def read(self) -> None:
        while True:
            await anyio.wait_readable(self._master)
            with suppress(BlockingIOError):
                self._waiting += self._lines.feed(os.read(self._master, 65536))
            self._write()
            if self._waiting:
                del self._waiting[_MOST_WAITING:]
                self._stuck.set()

    async def write(self) -> None:
        while True:
            await self._stuck.wait()
            self._stuck = anyio.Event()
            while self._waiting:
                await anyio.wait_writable(self._master)
                self._write()

    def _write(self) -> None:
        with suppress(BlockingIOError):
            while self._waiting:
                del self._waiting[: os.write(self._master, self._waiting)]


@contextmanager
def _pseudo_terminal() -> Iterator[tuple[int, str]]:
    """Master descriptor and device name, raw and without echo.

    The device stays open here as well: a client that closes its side is then no hang-up,
    and what it set on the line stays set.
    """
    master, device = os.openpty()
    try:
        tty.setraw(device)
        os.set_blocking(master, False)
        yield master, os.ttyname(device)
    finally:
        os.close(master)
        os.close(device)


@contextmanager
def _linked(link: Path, device: str) -> Iterator[str]:
    """A symbolic link to `device` while it lasts; one left by an earlier run is replaced."""
    link.parent.mkdir(parents=True, exist_ok=True)
    if link.is_symlink():
        link.unlink()
    link.symlink_to(device)
    try:
        yield str(link)
    finally:
        link.unlink(missing_ok=True)
