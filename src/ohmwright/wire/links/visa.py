"""A VISA resource, through pyvisa and by default its pure Python back end."""

from __future__ import annotations

import asyncio
import re
import select
import socket
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack, suppress
from typing import Any

from ohmwright.wire.link import Link
from ohmwright.wire.portlock import PortLock, device_lock

from .failures import not_opened, not_taken
from .threaded import SLICE_S, ThreadLink, owner_thread

WRITE_TIMEOUT_S = 1.0
OPEN_TIMEOUT_S = 5.0
_CHUNK = 4096


async def open_visa(resource: str, *, backend: str = "@py", baud: int | None = None) -> Link:
    """Open `resource`; `backend` is what pyvisa calls its library, such as `fixture.yaml@sim`.

    Raises LinkBusy naming who has it, LinkError when it cannot be opened.
    """
    lock = _lock_of(resource, backend)
    thread = owner_thread(resource)
    opening = thread.submit(_opened, resource, backend, baud)
    try:
        session = await asyncio.wrap_future(opening)
    except Exception as problem:
        _give_up(opening, thread, lock)
        do = "Check the resource's name, that the instrument is on, and the VISA back end."
        raise not_opened(f"{resource} ({backend})", _why(problem), do) from None
    except BaseException:
        _give_up(opening, thread, lock)
        raise
    return VisaLink(resource, session, lock, thread)


class VisaLink(ThreadLink):
    """An open VISA session. Serial and raw socket resources are tested, others are not."""

    def __init__(self, name: str, session: Any, lock: PortLock, thread: ThreadPoolExecutor) -> None:
        super().__init__(name, lock, thread)
        self._session = session
        self._quiet = ExitStack()
        self._quiet.enter_context(session.ignore_warning(_max_count_read()))

    def _read_slice(self, _slice_s: float) -> bytes:
        try:
            return _read_without_loss(self._session)
        except Exception as problem:
            if not _is_timeout(problem):
                raise
        _raise_if_ended(_socket_of(self._session))
        return b""

    def _write_all(self, data: bytes) -> None:
        connection = _socket_of(self._session)
        if connection is not None and not select.select([], [connection], [], WRITE_TIMEOUT_S)[1]:
            raise not_taken(self.name, 0, data, WRITE_TIMEOUT_S)
        self._session.write_raw(data)

    def _close(self) -> None:
        self._quiet.close()
        self._session.close()


def _opened(resource: str, backend: str, baud: int | None) -> Any:
    import pyvisa  # takes a third of a second, which only a VISA bench should spend

    manager = pyvisa.ResourceManager(backend)
    opened = manager.open_resource(resource, open_timeout=round(1000 * OPEN_TIMEOUT_S))
    if not isinstance(opened, pyvisa.resources.MessageBasedResource):
        opened.close()
        raise ValueError("it is no resource that messages can be sent to")
    try:
        return _prepared(opened, baud)
    except BaseException:
        opened.close()
        raise


def _prepared(session: Any, baud: int | None) -> Any:
    from pyvisa.constants import ResourceAttribute

    session.timeout = round(1000 * SLICE_S)
    session.read_termination = "\n"
    # a pause then ends a read of a raw socket with what has come, where else it would be dropped
    session.set_visa_attribute(ResourceAttribute.suppress_end_enabled, False)
    if baud is not None:
        session.baud_rate = baud
    # pyvisa-py calls a refused connection open
    _raise_if_ended(_socket_of(session))
    return session


def _read_without_loss(session: Any) -> bytes:
    """Bytes within a slice; never a partial read, which pyvisa drops when it times out."""
    if not hasattr(session, "bytes_in_buffer"):
        return bytes(session.visalib.read(session.session, _CHUNK)[0])
    first, _ = session.visalib.read(session.session, 1)
    waiting = session.bytes_in_buffer
    rest = session.visalib.read(session.session, waiting)[0] if waiting else b""
    return bytes(first + rest)


def _socket_of(session: Any) -> socket.socket | None:
    """The socket under a raw socket session of pyvisa-py, which itself ignores a closed peer."""
    sessions = getattr(session.visalib, "sessions", {})
    interface = getattr(sessions.get(session.session), "interface", None)
    return interface if isinstance(interface, socket.socket) else None


def _raise_if_ended(connection: socket.socket | None) -> None:
    if connection is None or not select.select([connection], [], [], 0)[0]:
        return
    if not connection.recv(1, socket.MSG_PEEK):
        raise ConnectionResetError("the other side has closed it")


def _is_timeout(problem: Exception) -> bool:
    from pyvisa.constants import StatusCode
    from pyvisa.errors import VisaIOError

    return isinstance(problem, VisaIOError) and problem.error_code == StatusCode.error_timeout


def _max_count_read() -> Any:
    from pyvisa.constants import StatusCode

    return StatusCode.success_max_count_read


def _lock_of(resource: str, backend: str) -> PortLock:
    """A serial device has one lock, whether it is opened as such or through VISA."""
    device = re.fullmatch(r"ASRL(/.+)::INSTR", resource, re.IGNORECASE)
    if device is not None:
        return device_lock(device[1])
    return PortLock(f"visa:{resource} {backend if backend.endswith('@sim') else ''}".strip())


def _give_up(opening: Future[Any], thread: ThreadPoolExecutor, lock: PortLock) -> None:
    """Close what a cancelled opening may still open, then give the lock back."""

    def close(opened: Future[Any]) -> None:
        with suppress(Exception):
            if not opened.cancelled() and opened.exception() is None:
                opened.result().close()
        lock.release()

    opening.add_done_callback(close)
    thread.shutdown(wait=False)


def _why(problem: Exception) -> str:
    # pyvisa-sim puts a whole traceback into its message
    return str(problem).partition(" 'Traceback")[0].rstrip(".") or type(problem).__name__
