"""A VISA resource, through pyvisa and by default its pure Python back end."""

from __future__ import annotations

import asyncio
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack, suppress
from typing import Any

from ohmwright.wire.addresses import visa_keys
from ohmwright.wire.link import Link
from ohmwright.wire.port_bounds import WRITE_TIMEOUT_S
from ohmwright.wire.portlock import PortLock
from ohmwright.wire.visa_session import (
    is_timeout,
    max_count_read,
    open_session,
    raise_if_ended,
    read_without_loss,
    socket_of,
    takes_bytes,
    why_not_opened,
)

from .failures import not_opened, not_taken
from .threaded import ThreadLink, owner_thread

CHECK_RESOURCE = "Check the resource's name, that the instrument is on, and the VISA back end."


async def open_visa(resource: str, *, backend: str = "@py") -> Link:
    """A line to a VISA resource; `backend` is the library as pyvisa names it.

    A backend is for instance `@py` or `fixture.yaml@sim`. Raises LinkBusy naming who has the
    resource, LinkError where it cannot be opened.
    """
    lock = PortLock(resource, await visa_keys(resource, backend))
    thread = owner_thread(resource)
    opening = thread.submit(open_session, resource, backend)
    try:
        session = await asyncio.wrap_future(opening)
    except Exception as problem:
        _give_up(opening, thread, lock)
        raise not_opened(
            f"{resource} ({backend})", why_not_opened(problem), CHECK_RESOURCE
        ) from None
    except BaseException:
        _give_up(opening, thread, lock)
        raise
    return VisaLink(resource, session, lock, thread)


class VisaLink(ThreadLink):
    """A line over an open VISA session; serial and raw socket resources are tested, others not."""

    def __init__(self, name: str, session: Any, lock: PortLock, thread: ThreadPoolExecutor) -> None:
        super().__init__(name, lock, thread)
        self._session = session
        self._quiet = ExitStack()
        self._quiet.enter_context(session.ignore_warning(max_count_read()))

    def _read_slice(self, _slice_s: float) -> bytes:
        try:
            return read_without_loss(self._session)
        except Exception as problem:
            if not is_timeout(problem):
                raise
        raise_if_ended(socket_of(self._session))
        return b""

    def _write_all(self, data: bytes) -> None:
        if not takes_bytes(self._session):
            raise not_taken(self.name, 0, data, WRITE_TIMEOUT_S)
        self._session.write_raw(data)

    def _close(self) -> None:
        self._quiet.close()
        self._session.close()


def _give_up(opening: Future[Any], thread: ThreadPoolExecutor, lock: PortLock) -> None:
    """Close a session that a cancelled opening still opens, then release the lock."""

    def close(opened: Future[Any]) -> None:
        with suppress(Exception):
            if not opened.cancelled() and opened.exception() is None:
                opened.result().close()
        lock.release()

    opening.add_done_callback(close)
    thread.shutdown(wait=False)
