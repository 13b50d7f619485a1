"""Standard input: discard what is pending, read the next line."""

from __future__ import annotations

import os
import stat
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import anyio
import anyio.lowlevel
import anyio.to_thread

from ohmwright.model.errors import UsageError


def at_a_terminal() -> bool:
    """Whether a person types at a terminal; False for a pipe or a file."""
    descriptor = _descriptor()
    return descriptor is not None and os.isatty(descriptor)


def input_has_ended() -> bool:
    """Whether standard input is seen to have no line left, so that nobody can answer by it.

    False where that is not known: at a terminal, on Windows, or where whoever holds the other end
    of a pipe may still write.
    """
    if sys.stdin is None or sys.stdin.closed:
        return True
    descriptor = _descriptor()
    if descriptor is None or os.isatty(descriptor):
        return False
    file = os.fstat(descriptor)
    if stat.S_ISREG(file.st_mode):
        return os.lseek(descriptor, 0, os.SEEK_CUR) >= file.st_size
    if stat.S_ISCHR(file.st_mode):
        return file.st_rdev == Path(os.devnull).stat().st_rdev
    return _other_end_is_closed(descriptor)


def _other_end_is_closed(descriptor: int) -> bool:
    """Whether nobody writes into a pipe any more, and all of it is read."""
    import select

    waiting = select.poll()
    waiting.register(descriptor, select.POLLIN)
    found = dict(waiting.poll(0)).get(descriptor, 0)
    return bool(found & select.POLLHUP) and not found & select.POLLIN


def discard_pending_input() -> None:
    """Discard what was typed at a terminal and is not read yet; a pipe or file keeps its lines."""
    if sys.platform == "win32":
        import msvcrt

        while msvcrt.kbhit():
            msvcrt.getwch()
        return
    import termios

    descriptor = _descriptor()
    if descriptor is not None and os.isatty(descriptor):
        termios.tcflush(descriptor, termios.TCIFLUSH)


@contextmanager
def unechoed() -> Iterator[None]:
    """Have the terminal not show what is typed in the block until `show_typing`.

    What is discarded is not to be seen either: a stray Enter would move the cursor. Ctrl-S does not
    freeze the screen in it: what is told of RF above a question would stand still.
    """
    descriptor = _descriptor()
    if sys.platform == "win32" or descriptor is None or not os.isatty(descriptor):
        yield
        return
    import termios

    before, silent = termios.tcgetattr(descriptor), termios.tcgetattr(descriptor)
    silent[0] &= ~termios.IXON
    silent[3] &= ~(termios.ECHO | termios.ECHONL)
    termios.tcsetattr(descriptor, termios.TCSANOW, silent)
    try:
        yield
    finally:
        termios.tcsetattr(descriptor, termios.TCSANOW, before)


def show_typing() -> None:
    """Have the terminal show what is typed from now on, and discard what was typed until now."""
    descriptor = _descriptor()
    if sys.platform == "win32" or descriptor is None or not os.isatty(descriptor):
        return
    import termios

    shown = termios.tcgetattr(descriptor)
    shown[3] |= termios.ECHO
    termios.tcsetattr(descriptor, termios.TCSAFLUSH, shown)


async def read_line() -> str:
    """Return the next line of standard input, its end included; cancellable at once.

    Raises UsageError where standard input has ended.
    """
    descriptor = _descriptor()
    if descriptor is None:
        line: str = await anyio.to_thread.run_sync(sys.stdin.readline)
    else:
        line = await _line_of(descriptor)
    if not line:
        raise UsageError(
            "There is nobody to answer: standard input has ended.",
            do="Run it in a terminal; where the command has --unattended, that asks nobody.",
        )
    return line


def _descriptor() -> int | None:
    """Return the descriptor to wait for; None on Windows or without a real standard input."""
    if sys.platform == "win32":
        return None
    try:
        return sys.stdin.fileno()
    except (OSError, ValueError):
        return None


async def _line_of(descriptor: int) -> str:
    """Return the next line; read byte by byte, so that nothing of the line after it is lost."""
    taken = b""
    while not taken.endswith(b"\n"):
        try:
            await anyio.wait_readable(descriptor)
        except PermissionError:  # a file cannot be polled: it is always ready
            await anyio.lowlevel.checkpoint()  # and may never end its line: a stop is still heard
        byte = os.read(descriptor, 1)
        if not byte:
            break
        taken += byte
    return taken.decode(errors="replace")
