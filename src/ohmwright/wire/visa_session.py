"""A VISA session, opened and read so that no byte is lost."""

from __future__ import annotations

import select
import socket
from typing import Any

from .port_bounds import OPEN_TIMEOUT_S, WRITE_TIMEOUT_S

_SLICE_S = 0.05
"""How long a read of a session waits, where its opener sets no other time."""
_CHUNK = 4096
"""Most bytes of one read of a session that does not say how many wait."""


def open_session(resource: str, backend: str) -> Any:
    """An open session of a message-based resource. Raises ValueError where it is none."""
    import pyvisa  # takes a third of a second, which only a VISA bench should spend

    manager = pyvisa.ResourceManager(backend)
    opened = manager.open_resource(resource, open_timeout=round(1000 * OPEN_TIMEOUT_S))
    if not isinstance(opened, pyvisa.resources.MessageBasedResource):
        opened.close()
        raise ValueError("it is no resource that messages can be sent to")
    try:
        return _prepared(opened)
    except BaseException:
        opened.close()
        raise


def why_not_opened(problem: Exception) -> str:
    """What `open_session` raised, in words; pyvisa-sim puts a whole traceback into its message."""
    return str(problem).partition(" 'Traceback")[0].rstrip(".") or type(problem).__name__


def _prepared(session: Any) -> Any:
    from pyvisa.constants import ResourceAttribute

    session.timeout = round(1000 * _SLICE_S)
    session.read_termination = "\n"
    # a pause then ends a read of a raw socket with what has come, where else it would be dropped
    session.set_visa_attribute(ResourceAttribute.suppress_end_enabled, False)
    # pyvisa-py calls a refused connection open
    raise_if_ended(socket_of(session))
    return session


def read_without_loss(session: Any) -> bytes:
    """The bytes that come within the session's timeout, at least one. Raises VISA's timeout.

    pyvisa's own read drops what came before a timeout. So one byte is waited for, then what waits
    behind it is taken; a raw socket, which does not say how much waits, ends a read at a pause.
    """
    if not hasattr(session, "bytes_in_buffer"):
        return bytes(session.visalib.read(session.session, _CHUNK)[0])
    first, _ = session.visalib.read(session.session, 1)
    waiting = session.bytes_in_buffer
    rest = session.visalib.read(session.session, waiting)[0] if waiting else b""
    return bytes(first + rest)


def socket_of(session: Any) -> socket.socket | None:
    """The socket below a raw socket session of pyvisa-py; None for any other session."""
    sessions = getattr(session.visalib, "sessions", {})
    interface = getattr(sessions.get(session.session), "interface", None)
    return interface if isinstance(interface, socket.socket) else None


def takes_bytes(session: Any) -> bool:
    """Whether a raw socket takes bytes in bounded time; True of any other session, unasked."""
    connection = socket_of(session)
    return connection is None or bool(select.select([], [connection], [], WRITE_TIMEOUT_S)[1])


def raise_if_ended(connection: socket.socket | None) -> None:
    """Raise ConnectionResetError where the peer has closed."""
    if connection is None or not select.select([connection], [], [], 0)[0]:
        return
    if not connection.recv(1, socket.MSG_PEEK):
        raise ConnectionResetError("the other side has closed it")


def is_timeout(problem: Exception) -> bool:
    """Whether `problem` is VISA's timeout, which means only that nothing came."""
    from pyvisa.constants import StatusCode
    from pyvisa.errors import VisaIOError

    return isinstance(problem, VisaIOError) and problem.error_code == StatusCode.error_timeout


def max_count_read() -> Any:
    """The status of a read that took all bytes asked for, of which pyvisa warns each time."""
    from pyvisa.constants import StatusCode

    return StatusCode.success_max_count_read
