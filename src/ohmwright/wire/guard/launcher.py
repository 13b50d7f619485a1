"""Launches a guard process and tells it the port, the bytes of OFF and how to read it back."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
from collections.abc import Awaitable, Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from ohmwright.wire.portlock import PortLock

from .making_orders import GuardOrders, release_orders


@dataclass(frozen=True)
class PortLocation:
    """Where an instrument is reached at present."""

    name: str
    port: dict[str, Any]
    """The arguments of `ports.open_port`."""
    keys: frozenset[str]
    """The keys of the locks that are held while it is used."""


Locate = Callable[[], Awaitable[PortLocation]]
"""Returns the present location, perhaps not the one before. Raises LinkError without one."""


@dataclass(frozen=True)
class GuardHandle:
    """A guard process that was launched, and the engine's end of the socket to it."""

    engine: socket.socket
    process: subprocess.Popen[bytes]


def launch_guard(place: PortLocation, commands: GuardOrders, lock: PortLock) -> GuardHandle:
    """Launch a guard for `place` in a session of its own; it shares the hold on `lock`."""
    ours, theirs = socket.socketpair()
    ours.setblocking(False)
    try:
        guard = subprocess.Popen(
            [sys.executable, "-P", "-m", "ohmwright.wire.guard.process"],
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            **_own_session(theirs, lock),
        )
        assert guard.stdin is not None
        with suppress(BrokenPipeError), guard.stdin as orders:
            orders.write(_orders(place.port, commands, _handed_over(theirs, guard.pid)))
    except BaseException:
        ours.close()
        raise
    finally:
        theirs.close()
    return GuardHandle(ours, guard)


def _orders(port: dict[str, Any], commands: GuardOrders, ours: dict[str, Any]) -> bytes:
    orders = {"port": port, "release": release_orders(commands).as_json(), **ours}
    return json.dumps(orders).encode() + b"\n"


def _own_session(theirs: socket.socket, lock: PortLock) -> dict[str, Any]:
    """Arguments of Popen that keep Ctrl-C and the end of the engine's group from the guard."""
    if sys.platform == "win32":
        return {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}
    return {"start_new_session": True, "pass_fds": (theirs.fileno(), *lock.filenos())}


def _handed_over(theirs: socket.socket, pid: int) -> dict[str, Any]:
    if os.name == "nt":
        return {"shared": theirs.share(pid).hex()}  # type: ignore[attr-defined,unused-ignore]
    return {"descriptor": theirs.fileno()}
