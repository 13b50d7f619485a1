"""The guard's blocking ports.

Needs the standard library, and pyserial or pyvisa where the port is one of theirs, for the guard's
process, which starts without the engine's libraries.
"""

from __future__ import annotations

import os
import select
import socket
import sys
import threading
from typing import Any, Protocol

from ohmwright.wire.port_bounds import CHUNK, OPEN_TIMEOUT_S, WRITE_TIMEOUT_S


class BlockingPort(Protocol):
    """A port. Raises TimeoutError where bytes are not taken in time, OSError where it is gone."""

    def fileno(self) -> int | None:
        """The descriptor that select can wait on; None where there is none."""

    def write(self, data: bytes) -> None:
        """Send all of `data`, in bounded time."""

    def read(self) -> bytes:
        """The bytes that have come; empty where none have."""


class _SerialPort:
    """A serial port, opened for this process alone."""

    def __init__(self, port: str, baud: int, settings: dict[str, Any] | None = None) -> None:
        import serial

        from ohmwright.wire.links.serial_port import opened_port

        self._port: Any = opened_port(port, baud, settings or {})
        self._slow: type[Exception] = serial.SerialTimeoutException

    def write(self, data: bytes) -> None:
        """Send all of `data`."""
        try:
            self._port.write(data)
        except self._slow as problem:
            raise TimeoutError(str(problem)) from None


class BlockingSerialPort(_SerialPort):
    """A serial port that select can wait on."""

    def __init__(self, port: str, baud: int, settings: dict[str, Any] | None = None) -> None:
        super().__init__(port, baud, settings)
        self._number: int = self._port.fileno()

    def fileno(self) -> int:
        """The port's descriptor."""
        return self._number

    def read(self) -> bytes:
        """The bytes that have come."""
        if not select.select([self._number], [], [], 0)[0]:
            return b""
        data = os.read(self._number, CHUNK)
        if not data:
            raise ConnectionError("the other side has closed it")
        return data


class ThreadedSerialPort(_SerialPort):
    """A serial port of Windows, which select cannot wait on: a thread reads it into a socket."""

    def __init__(self, port: str, baud: int, settings: dict[str, Any] | None = None) -> None:
        super().__init__(port, baud, settings)
        self._port.timeout = None  # the thread waits for each byte
        self._arrived, into = socket.socketpair()
        threading.Thread(target=self._read_into, args=(into,), daemon=True).start()

    def _read_into(self, into: socket.socket) -> None:
        try:
            while data := self._port.read(1):
                into.sendall(data + self._port.read(self._port.in_waiting))
        except Exception:  # whatever a driver raises, the port is gone
            pass
        finally:
            into.close()

    def fileno(self) -> int:
        """The socket's descriptor."""
        return self._arrived.fileno()

    def read(self) -> bytes:
        """The bytes that have come."""
        if not select.select([self._arrived], [], [], 0)[0]:
            return b""
        data = self._arrived.recv(CHUNK)
        if not data:
            raise ConnectionError("the port is gone")
        return data


class BlockingTcpPort:
    """A connected TCP socket."""

    def __init__(self, host: str, port: int) -> None:
        self._socket = socket.create_connection((host, port), timeout=OPEN_TIMEOUT_S)
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._socket.settimeout(WRITE_TIMEOUT_S)

    def fileno(self) -> int | None:
        """The socket's descriptor."""
        return self._socket.fileno()

    def write(self, data: bytes) -> None:
        """Send all of `data`."""
        self._socket.sendall(data)

    def read(self) -> bytes:
        """The bytes that have come."""
        if not select.select([self._socket], [], [], 0)[0]:
            return b""
        data = self._socket.recv(CHUNK)
        if not data:
            raise ConnectionError("the other side has closed it")
        return data


class BlockingVisaPort:
    """An open VISA resource."""

    _SLICE_S = 0.02
    """How long a read waits; meanwhile the guard hears neither the engine nor a signal."""

    def __init__(self, resource: str, backend: str) -> None:
        from ohmwright.wire import visa_session

        self._visa = visa_session
        try:
            self._session = visa_session.open_session(resource, backend)
        except OSError:
            raise
        except Exception as problem:
            raise OSError(visa_session.why_not_opened(problem)) from None
        self._session.timeout = round(1000 * self._SLICE_S)
        self._session.ignore_warning(visa_session.max_count_read()).__enter__()  # for good

    def fileno(self) -> int | None:
        """None: VISA has no descriptor to wait on."""
        return None

    def write(self, data: bytes) -> None:
        """Send all of `data`, with no line end added."""
        if not self._visa.takes_bytes(self._session):
            raise TimeoutError("the resource takes no bytes")
        try:
            self._session.write_raw(data)
        except Exception as problem:  # whatever a driver raises, the line is gone
            raise OSError(str(problem)) from None

    def read(self) -> bytes:
        """The bytes that come within 20 ms."""
        try:
            return self._visa.read_without_loss(self._session)
        except Exception as problem:
            if not self._visa.is_timeout(problem):
                raise OSError(str(problem)) from None
        self._visa.raise_if_ended(self._visa.socket_of(self._session))
        return b""


def open_port(kind: str, **where: Any) -> BlockingPort:
    """The opened port of a `serial`, `tcp` or `visa` address. Raises OSError.

    `where`: what its class is made with.
    """
    ports: dict[str, Any] = {
        "serial": ThreadedSerialPort if sys.platform == "win32" else BlockingSerialPort,
        "tcp": BlockingTcpPort,
        "visa": BlockingVisaPort,
    }
    port: BlockingPort = ports[kind](**where)
    return port
