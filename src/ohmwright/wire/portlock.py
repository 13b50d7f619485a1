"""Locks that keep two programs from one line, where they would read each other's replies.

A lock is for what an address means, not for how it is spelled, and for all users of the machine.
"""

from __future__ import annotations

import json
import os
import socket
import sys
from collections.abc import Iterable
from contextlib import suppress
from hashlib import sha256
from pathlib import Path

from ohmwright.model.errors import LinkBusy

from .clock import RealClock
from .forks import keep_from_forks

_HOLDER_AT = 1  # the first byte is the one locked; Windows lets nobody read a locked byte


class PortLock:
    """A lock that is held until `release` or until this process ends, however it ends.

    The operating system holds it on open files, so the file of a dead process locks nothing. The
    text of the file tells who holds it.
    """

    def __init__(self, name: str, keys: Iterable[str] = ()) -> None:
        """Lock all `keys`, or `name` where there are none. Raises LinkBusy naming who holds one."""
        self.keys = frozenset(keys) or frozenset((name,))
        self._files: list[int] = []
        try:
            for key in sorted(self.keys):
                self._files.append(_lock_file(name, key))
        except BaseException:
            self.release()
            raise
        keep_from_forks(self)

    def filenos(self) -> tuple[int, ...]:
        """Descriptors of the lock files; a child process that inherits them shares the hold."""
        return tuple(self._files)

    def release(self) -> None:
        """Release the lock. Safe to call twice."""
        for file in self._files:
            with suppress(OSError):
                os.ftruncate(file, 0)
        self.close()

    def close(self) -> None:
        """Close the files of this process; who shares the hold has it still."""
        while self._files:
            os.close(self._files.pop())


def device_lock(device: str) -> PortLock:
    """The held lock of a serial device. Raises LinkBusy."""
    return PortLock(device, device_keys(device))


def device_keys(device: str) -> frozenset[str]:
    """The lock keys of a serial device, equal for all its names."""
    path = os.path.realpath(device)
    if sys.platform == "darwin":  # one port has two devices there
        path = path.replace("/dev/tty.", "/dev/cu.")
    if sys.platform == "win32":
        path = path.upper().removeprefix("\\\\.\\")
    return frozenset((path,))


def _lock_file(name: str, key: str) -> int:
    file = _open_lock_file(key)
    try:
        _lock(file)
    except OSError:
        holder = _read_holder(file)
        os.close(file)
        raise LinkBusy(
            f"{name} is in use by {holder}.",
            "Two programs on one line would read each other's replies.",
            "End the other program, or wait until it is done.",
        ) from None
    _write_holder(file)
    return file


def _open_lock_file(key: str) -> int:
    """Descriptor of the lock file of `key`, which every user of this machine may lock."""
    path = _folder() / f"{sha256(key.encode()).hexdigest()[:32]}.lock"
    plainly = os.O_RDWR | getattr(os, "O_NOFOLLOW", 0)
    with suppress(FileNotFoundError):
        # without O_CREAT, which Linux refuses for another user's file in a folder of everyone's
        return os.open(path, plainly)
    file = os.open(path, plainly | os.O_CREAT, 0o666)
    with suppress(OSError):
        path.chmod(0o666)
    return file


def _folder() -> Path:
    """The folder of lock files, one for the whole machine.

    OHMWRIGHT_LOCKS names another one, for tests: terminals that are made and closed all the time
    take each other's names, which ports do not.
    """
    if given := os.environ.get("OHMWRIGHT_LOCKS"):
        Path(given).mkdir(parents=True, exist_ok=True)
        return Path(given)
    windows = sys.platform == "win32"
    base = Path(os.environ.get("PROGRAMDATA", r"C:\ProgramData") if windows else "/var/tmp")
    folder = base / "ohmwright-locks"
    if not folder.is_dir():
        folder.mkdir(parents=True, exist_ok=True)
        folder.chmod(0o1777)
    return folder


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
