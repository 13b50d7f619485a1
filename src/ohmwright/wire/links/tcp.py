"""A raw TCP socket to an instrument."""

from __future__ import annotations

import os
import socket
from contextlib import suppress

import anyio

from ohmwright.wire.addresses import tcp_keys
from ohmwright.wire.link import Link
from ohmwright.wire.port_bounds import CHUNK, OPEN_TIMEOUT_S
from ohmwright.wire.portlock import PortLock

from .descriptor import DescriptorLink
from .failures import not_opened


async def open_tcp(host: str, port: int) -> Link:
    """A line to `port` of `host`. Raises LinkBusy, or LinkError where nobody answers there."""
    name = f"{host}:{port}"
    lock = PortLock(name, await tcp_keys(host, port))
    try:
        return TcpLink(name, await _connected(host, port), lock)
    except BaseException as problem:
        lock.release()
        if isinstance(problem, OSError):
            raise not_opened(name, _why(problem), HOW_TO_REACH) from None
        raise


class TcpLink(DescriptorLink):
    """A line over a connected TCP socket."""

    def __init__(self, name: str, connection: socket.socket, lock: PortLock) -> None:
        super().__init__(name, connection.fileno(), lock)
        self._connection = connection

    def _take(self) -> bytes:
        return self._connection.recv(CHUNK)

    def _give(self, data: bytes) -> int:
        return self._connection.send(data)

    def _close(self) -> None:
        self._connection.close()


HOW_TO_REACH = "Check address and port, and that the instrument's network service is on."


async def _connected(host: str, port: int) -> socket.socket:
    """A socket connected to the first address of `host` that answers."""
    with anyio.fail_after(OPEN_TIMEOUT_S):
        addresses = await anyio.getaddrinfo(host, port, type=socket.SOCK_STREAM)
        for family, _, _, _, address in addresses[:-1]:
            with suppress(OSError):
                return await _connected_to(family, address)
        family, _, _, _, address = addresses[-1]
        return await _connected_to(family, address)


async def _connected_to(family: int, address: tuple[str, int]) -> socket.socket:
    connection = socket.socket(family, socket.SOCK_STREAM)
    try:
        connection.setblocking(False)
        # each message is one small packet and should not wait for the next
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        connection.connect_ex(address)
        await anyio.wait_writable(connection)
        failure = connection.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)
        if failure:
            raise OSError(failure, os.strerror(failure))
    except BaseException:
        connection.close()
        raise
    return connection


def _why(problem: OSError) -> str:
    if isinstance(problem, TimeoutError):
        return f"nobody answered within {OPEN_TIMEOUT_S:g} s"
    return problem.strerror or str(problem)
