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

from ohmwright.wire.forks import keep_from_forks
from ohmwright.wire.portlock import PortLock

from .making_orders import GuardOrders, HandedOrders, release_orders


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
    keep_from_forks(ours)
    try:
        guard = subprocess.Popen(
            [_interpreter(), "-P", "-m", "ohmwright.wire.guard.process"],
            env=_environment(),
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
    current = commands.current if isinstance(commands, HandedOrders) else None
    orders = {
        "port": port,
        "release": release_orders(commands).as_json(),
        "current": None if current is None else current.as_json(),
        **ours,
    }
    return json.dumps(orders).encode() + b"\n"


def _own_session(theirs: socket.socket, lock: PortLock) -> dict[str, Any]:
    """Arguments of Popen that keep Ctrl-C and the end of the engine's group from the guard.

    On Windows it has no console either: one that is closed ends every program in it.
    """
    if sys.platform == "win32":
        return {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP | subprocess.DETACHED_PROCESS}
    return {"start_new_session": True, "pass_fds": (theirs.fileno(), *lock.filenos())}


def _interpreter() -> str:
    """The Python that runs the guard, as a process of its own.

    The python.exe of a virtual environment on Windows only starts another process, which could not
    take a socket that is shared with the first (as in multiprocessing.popen_spawn_win32).
    """
    return getattr(sys, "_base_executable", sys.executable) if os.name == "nt" else sys.executable


def _environment() -> dict[str, str]:
    """Variables of the guard; the base Python takes the virtual environment's packages by one."""
    if _interpreter() == sys.executable:
        return {**os.environ}
    return {**os.environ, "__PYVENV_LAUNCHER__": sys.executable}


def _handed_over(theirs: socket.socket, pid: int) -> dict[str, Any]:
    if os.name == "nt":
        return {"shared": theirs.share(pid).hex()}  # type: ignore[attr-defined,unused-ignore]
    return {"descriptor": theirs.fileno()}
