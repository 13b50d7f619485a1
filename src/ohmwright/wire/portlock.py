"""A lock that names its holder, so that two programs never read each other's replies."""

from __future__ import annotations

import json
import os
import socket
import sys
from contextlib import suppress
from hashlib import sha256
from pathlib import Path

import platformdirs

from ohmwright.model.errors import LinkBusy

from .clock import RealClock

_HOLDER_AT = 1  # the first byte is the one locked; Windows lets nobody read a locked byte


class PortLock:
    """Held until `release` or until this process ends, however it ends.

    The operating system holds the lock on an open file, so a file that a dead process left
    behind locks nothing. The file's text says who has it.
    """

    def __init__(self, port: str) -> None:
        """Take the lock of `port`. Raises LinkBusy naming who has it."""
        self._file = os.open(_path(port), os.O_RDWR | os.O_CREAT, 0o666)
        try:
            _lock(self._file)
        except OSError:
            holder = _read_holder(self._file)
            os.close(self._file)
            raise LinkBusy(
                f"{port} is in use by {holder}.",
                "Two programs on one line would read each other's replies.",
                "End the other program, or wait until it is done.",
            ) from None
        _write_holder(self._file)

    def fileno(self) -> int:
        """The open file: a child process that inherits it shares the hold."""
        return self._file

    def release(self) -> None:
        """Give the lock back. Safe to call twice."""
        if self._file >= 0:
            with suppress(OSError):
                os.ftruncate(self._file, 0)
            os.close(self._file)
            self._file = -1


def device_lock(device: str) -> PortLock:
    """The lock of a serial device, the same by whatever name it goes."""
    return PortLock(os.path.realpath(device))


def _path(port: str) -> Path:
    """Of the machine too, since a home folder may be shared by several."""
    name = sha256(f"{socket.gethostname()} {port}".encode()).hexdigest()[:32]
    folder = platformdirs.user_state_path("ohmwright", appauthor=False) / "locks"
    folder.mkdir(parents=True, exist_ok=True)
    return folder / f"{name}.lock"


def _write_holder(file: int) -> None:
    since = RealClock().wall().isoformat(timespec="seconds")
    holder = {"pid": os.getpid(), "host": socket.gethostname(), "since": since}
    os.ftruncate(file, 0)
    os.lseek(file, 0, os.SEEK_SET)
    os.write(file, b"\n" + json.dumps(holder).encode())


def _read_holder(file: int) -> str:
    try:
        os.lseek(file, _HOLDER_AT, os.SEEK_SET)
        holder = json.loads(os.read(file, 1024))
        return f"process {holder['pid']} on {holder['host']} since {holder['since']}"
    except (OSError, ValueError, KeyError, TypeError):
        return "another process"


if sys.platform == "win32":
    import msvcrt

    def _lock(file: int) -> None:
        os.lseek(file, 0, os.SEEK_SET)
        msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
else:
    import fcntl

    def _lock(file: int) -> None:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
